//! Repairing the beats: scripts of keys, played against the real decoder, and the picture they leave.

#[path = "support/goats.rs"]
mod goats;

use farandole::dance::edit::{Command, History, Selection};
use farandole::dance::{Dance, MoveBook};
use farandole::grid::mend::{Repair, compare};
use farandole::grid::{Anchor, Level};
use farandole::listening::Remembered;
use farandole::screen::colours::{Depth, Ink, Palette, Theme};
use farandole::screen::desk::Again;
use farandole::screen::repair::{
    Action, Effect, Group, KEYS, Message, Readiness, Repairing, help_pages, update, view,
};
use farandole::units::{Beat, Seconds};
use goats::GOATS;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Modifier;
use std::path::Path;
use std::time::Duration;

/// She at work, with the decoder behind her.
struct Work {
    dance: Dance,
    history: History,
    state: Repairing,
    now: Duration,
    played: Vec<Effect>,
    remembered: Remembered,
}

impl Work {
    fn new() -> Self {
        let dance = GOATS.0.clone();
        let state = Repairing::new(&dance, Beat(0.0), Readiness::Ready, 0);
        Self {
            dance,
            history: History::of_saved(),
            state,
            now: Duration::ZERO,
            played: Vec::new(),
            remembered: Remembered::default(),
        }
    }

    fn tell(&mut self, message: Message) {
        for effect in update(&mut self.state, &self.dance, message, self.now) {
            self.carry_out(effect);
        }
    }

    fn carry_out(&mut self, effect: Effect) {
        match effect {
            Effect::HearAgain { number, anchors } => {
                let heard = GOATS.1.grid_again(&anchors, &mut self.remembered);
                assert_eq!(heard, GOATS.1.grid(&anchors), "what was found before changes nothing");
                let (grid, sureness) = (heard.grid.clone().rounded(), heard.sureness.clone());
                let listening = GOATS.1.describe(heard);
                self.tell(Message::Again(Box::new(Again { number, grid, sureness, listening })));
            }
            Effect::Change(command) => self.change(&command),
            Effect::Undo => {
                self.history.undo(&mut self.dance).expect("fits");
                self.tell(Message::Changed);
            }
            Effect::Redo => {
                self.history.redo(&mut self.dance).expect("fits");
                self.tell(Message::Changed);
            }
            other => self.played.push(other),
        }
    }

    fn change(&mut self, command: &Command) {
        let here = Selection::at(Beat::from(self.state.cursor));
        self.history
            .perform(&mut self.dance, &MoveBook::built_in(), command, here, self.now)
            .expect("possible");
        self.tell(Message::Changed);
    }

    /// Presses keys a tenth of a second apart.
    fn press(&mut self, actions: &[Action]) {
        for action in actions {
            self.now += Duration::from_millis(100);
            self.tell(Message::Do(*action));
        }
    }

    fn go_to(&mut self, beat: usize) {
        self.press(&[Action::Home]);
        self.press(&vec![Action::Right; beat]);
        assert_eq!(self.state.cursor, beat);
    }

    /// Taps at these instants while it plays.
    fn tap(&mut self, times: &[f64]) {
        for &at in times {
            self.now += Duration::from_millis(400);
            self.tell(Message::Heard { at: Seconds(at), playing: true });
            self.tell(Message::Do(Action::Tap));
        }
        let at = self.state.at;
        self.tell(Message::Heard { at, playing: false });
    }

    fn undo_all(&mut self) -> usize {
        let mut steps = 0;
        while self.history.undo_label().is_some() {
            self.press(&[Action::Undo]);
            steps += 1;
        }
        steps
    }

    fn notice(&self) -> &str {
        self.state.notice.as_deref().unwrap_or_default()
    }
}

#[test]
fn every_gesture_is_one_step_and_undone_leaves_the_dance_as_it_was() {
    for gesture in [
        Action::Halve,
        Action::Double,
        Action::ShiftHalf,
        Action::CountOne,
        Action::BarStart,
        Action::BarsOf(4),
        Action::Remove,
        Action::HoldLonger,
        Action::Later,
    ] {
        let mut work = Work::new();
        let heard = work.dance.clone();
        // At 160 counts a minute twice as many are too many.
        let steps = if gesture == Action::Double {
            work.press(&[Action::Halve]);
            2
        } else {
            1
        };
        let start = work.dance.clone();
        work.go_to(13);
        work.press(&[gesture]);
        assert_ne!(work.dance.anchors, start.anchors, "{gesture:?}: {}", work.notice());
        assert_eq!(work.dance.cues.len(), start.cues.len(), "{gesture:?} loses no cue");
        let repaired = work.dance.clone();
        work.press(&[Action::Undo]);
        assert_eq!(work.dance, start, "{gesture:?}");
        work.press(&[Action::Redo]);
        assert_eq!(work.dance, repaired, "{gesture:?}");
        assert_eq!(work.undo_all(), steps, "{gesture:?}");
        assert_eq!(work.dance, heard, "{gesture:?}");
    }
}

#[test]
fn counts_that_no_class_could_follow_are_refused_in_words_and_change_nothing() {
    let mut work = Work::new();
    let start = work.dance.clone();
    work.go_to(13);
    work.press(&[Action::Double]);
    assert_eq!(work.dance, start);
    assert!(work.notice().starts_with("twice as fast, 32"), "{}", work.notice());
    assert_eq!(work.undo_all(), 0);
    work.press(&[Action::Halve]);
    let halved = work.dance.clone();
    let near = |beats: &[Seconds], at: Seconds| beats.iter().any(|beat| (beat.0 - at.0).abs() < 0.05);
    let (before, after) = (start.grid.beats(), halved.grid.beats());
    assert!(near(after, before[15]) && !near(after, before[14]), "{after:?}");
}

#[test]
fn the_beats_of_a_file_are_one_step_and_the_moves_stay_on_their_music() {
    let mut work = Work::new();
    let start = work.dance.clone();
    work.go_to(13);
    work.press(&[Action::Later]);
    let nudged = work.dance.clone();
    // Twice as fast as it was heard, and one beat more at the beginning.
    let heard: Vec<f64> = start.grid.beats().iter().map(|beat| beat.0).collect();
    let middles = heard.windows(2).map(|pair| 0.5 * (pair[0] + pair[1]));
    let mut beats: Vec<f64> = heard.iter().copied().chain(middles).chain([heard[0] * 0.5]).collect();
    beats.sort_by(f64::total_cmp);
    let beats: Vec<Seconds> = beats.into_iter().map(|at| Seconds((at * 1e4).round() / 1e4)).collect();
    let given = Anchor::Given { beats: beats.clone(), bars: Vec::new(), phrases: Vec::new() };
    for (keep, words) in [(false, 1), (true, 1 + nudged.anchors.len())] {
        work.tell(Message::Gesture(Repair::Take { given: given.clone(), keep }));
        assert!(work.notice().starts_with("take the beats of a file: "), "{}", work.notice());
        assert_eq!(work.dance.anchors.len(), words);
        assert_eq!(work.dance.anchors[0], given);
        if !keep {
            assert_eq!(work.dance.grid.beats(), beats);
        }
        for (old, new) in nudged.cues.iter().zip(&work.dance.cues) {
            let (was, is) = (nudged.grid.seconds_at(old.at).0, work.dance.grid.seconds_at(new.at).0);
            assert!((was - is).abs() < 0.02, "{was} {is}: the music of a cue is where it was");
            assert_eq!(new.counts.0, 2.0 * old.counts.0, "and lasts as long");
        }
        work.press(&[Action::Undo]);
        assert_eq!(work.dance, nudged);
    }
    work.press(&[Action::Undo]);
    assert_eq!(work.dance, start);
}

#[test]
fn a_beat_taken_out_can_be_put_in_again() {
    let mut work = Work::new();
    let before = work.dance.grid.clone();
    work.go_to(13);
    work.press(&[Action::Remove]);
    assert_eq!((compare(&before, &work.dance.grid).gone, compare(&before, &work.dance.grid).new), (1, 0));
    work.go_to(12);
    work.press(&[Action::Insert]);
    let now = compare(&before, &work.dance.grid);
    assert_eq!((now.gone, now.new), (0, 0), "{now}");
    assert!(now.furthest.0 < 0.05, "{now}");
    assert_eq!(work.undo_all(), 2);
    assert_eq!(work.dance.grid, before);
}

#[test]
fn two_taps_fix_the_level_and_a_run_of_taps_is_one_step() {
    let mut work = Work::new();
    let start = work.dance.clone();
    let beats: Vec<f64> = start.grid.beats().iter().map(|beat| beat.0).collect();
    // Every second beat: the bar is felt as one slow beat.
    let taps: Vec<f64> = beats[12..32].iter().step_by(2).map(|at| at - 0.03).collect();
    work.tap(&taps[..2]);
    // Half as fast, from one end to the other.
    for share in [0.1, 0.5, 0.9] {
        let at = Seconds(share * beats.last().expect("there are beats"));
        let tempo = |grid: &farandole::grid::Grid| grid.tempo_at(grid.beat_at(at)).0;
        let ratio = tempo(&start.grid) / tempo(&work.dance.grid);
        assert!((1.9..2.1).contains(&ratio), "{ratio} at {at}");
    }
    work.tap(&taps[2..]);
    let told = format!("tapped {} times: {} are gone", taps.len(), beats.len() / 2);
    assert!(work.notice().starts_with(&told), "what the run has changed: {}", work.notice());
    assert_eq!(work.dance.anchors.len(), start.anchors.len() + taps.len());
    // The cues are still on their music.
    for (before, after) in start.cues.iter().zip(&work.dance.cues) {
        let (was, is) = (start.grid.seconds_at(before.at), work.dance.grid.seconds_at(after.at));
        assert!((was.0 - is.0).abs() < 0.25, "'{}' went from {was} to {is}", start.words_of(before));
    }
    assert_eq!(work.undo_all(), 1);
    assert_eq!(work.dance, start);
}

#[test]
fn a_beat_nudged_again_and_again_is_one_step_and_stays_through_other_repairs() {
    let mut work = Work::new();
    let at = work.dance.grid.beats()[20];
    work.go_to(20);
    work.press(&[Action::Later, Action::Later, Action::Later]);
    let nudged = Seconds(((at.0 + 0.03) * 1e4).round() / 1e4);
    assert!(work.dance.anchors.contains(&Anchor::Beat { at: nudged }), "{:?}", work.dance.anchors);
    assert!(work.dance.grid.beats().contains(&nudged));
    work.go_to(40);
    work.press(&[Action::Halve]);
    assert!(work.dance.grid.beats().contains(&nudged), "placed by hand, and kept");
    assert_eq!(work.undo_all(), 2);
    // After a pause it is another step.
    work.go_to(20);
    work.press(&[Action::Later]);
    work.now += Duration::from_secs(5);
    work.press(&[Action::Later]);
    assert!(work.dance.grid.beats().contains(&Seconds(((at.0 + 0.02) * 1e4).round() / 1e4)));
    assert_eq!(work.undo_all(), 2);
}

#[test]
fn count_one_takes_the_moves_along_or_leaves_them() {
    let mut work = Work::new();
    let phrase = work.dance.grid.phrases()[1].start;
    let cue = work.dance.cues.iter().position(|cue| cue.at == Beat::from(phrase)).expect("one on count one");
    work.go_to(phrase + 1);
    work.press(&[Action::CountOne]);
    let count = |work: &Work| work.dance.grid.count_at(work.dance.cues[cue].at).count;
    assert_eq!((work.dance.cues[cue].at, count(&work)), (Beat::from(phrase + 1), 1));
    work.press(&[Action::Undo, Action::Along]);
    work.go_to(phrase + 1);
    work.press(&[Action::CountOne]);
    assert_eq!(work.dance.cues[cue].at, Beat::from(phrase), "it stays on its beat");
}

#[test]
fn phrases_get_the_length_that_is_typed() {
    let mut work = Work::new();
    work.press(&[Action::PhraseLength]);
    for digit in ['x', '1', '3', '2'] {
        work.tell(Message::Digit(digit));
    }
    work.tell(Message::RubOut);
    work.tell(Message::RubOut);
    work.tell(Message::Digit('2'));
    // Enter.
    work.press(&[Action::Tap]);
    let starts: Vec<usize> = work.dance.grid.phrases().iter().map(|phrase| phrase.start).collect();
    assert_eq!(starts, (0..work.dance.grid.len()).step_by(12).collect::<Vec<_>>());
    work.press(&[Action::PhraseLength]);
    work.tell(Message::Digit('0'));
    work.press(&[Action::Tap]);
    assert_eq!(work.notice(), "a phrase has 1 to 256 counts, not 0");
}

#[test]
fn what_was_said_is_listed_taken_back_and_all_of_it_returned_to_what_was_heard() {
    let mut work = Work::new();
    work.press(&[Action::AsHeard]);
    let clean = work.dance.clone();
    work.go_to(20);
    work.press(&[Action::Later]);
    work.go_to(40);
    work.press(&[Action::Halve]);
    assert_eq!(work.dance.anchors.len(), 2);
    work.press(&[Action::List, Action::Up, Action::Remove, Action::List]);
    assert!(matches!(work.dance.anchors[..], [Anchor::Level { .. }]), "{:?}", work.dance.anchors);
    work.press(&[Action::AsHeard]);
    assert_eq!(work.dance.grid, clean.grid);
    assert_eq!(work.dance.grid, GOATS.1.grid(&[]).grid.rounded());
    assert_eq!(work.dance.anchors, []);
}

#[test]
fn keys_that_come_before_the_answer_are_done_after_it() {
    let dance = GOATS.0.clone();
    let mut state = Repairing::new(&dance, Beat(13.0), Readiness::Ready, 0);
    let first = update(&mut state, &dance, Message::Do(Action::Halve), Duration::ZERO);
    let [Effect::HearAgain { number, anchors }] = &first[..] else { panic!("{first:?}") };
    assert!(state.is_waiting());
    assert_eq!(update(&mut state, &dance, Message::Do(Action::Right), Duration::ZERO), []);
    assert_eq!(state.cursor, 13, "it waits for the new beats");
    let heard = GOATS.1.grid(anchors);
    let again = |number| {
        let (grid, sureness) = (heard.grid.clone().rounded(), heard.sureness.clone());
        let listening = GOATS.1.describe(heard.clone());
        Message::Again(Box::new(Again { number, grid, sureness, listening }))
    };
    assert_eq!(update(&mut state, &dance, again(number + 7), Duration::ZERO), [], "nobody asked that");
    let change = update(&mut state, &dance, again(*number), Duration::ZERO);
    let [Effect::Change(Command::SetGrid { grid, .. })] = &change[..] else { panic!("{change:?}") };
    let (changed, cursor) = (Dance { grid: grid.clone(), ..dance }, state.cursor);
    update(&mut state, &changed, Message::Changed, Duration::ZERO);
    assert_eq!(state.cursor, cursor + 1);
    assert!(!state.is_waiting());
}

#[test]
fn without_the_recording_every_repair_says_why_not() {
    let dance = GOATS.0.clone();
    let mut state = Repairing::new(&dance, Beat(3.0), Readiness::Never("it is missing".into()), 0);
    assert_eq!(update(&mut state, &dance, Message::Do(Action::Halve), Duration::ZERO), []);
    assert_eq!(state.notice.as_deref(), Some("it is missing"));
    assert_eq!(update(&mut state, &dance, Message::Ready(Readiness::Listening(0.42)), Duration::ZERO), []);
    assert_eq!(update(&mut state, &dance, Message::Do(Action::Double), Duration::ZERO), []);
    assert_eq!(state.notice.as_deref(), Some("still listening to the recording: 42 %"));
}

fn picture(work: &Work, width: u16, height: u16, palette: Palette) -> Buffer {
    let area = Rect::new(0, 0, width, height);
    let mut buffer = Buffer::empty(area);
    view(&work.state, &work.dance, palette, area, &mut buffer);
    buffer
}

fn text(buffer: &Buffer) -> Vec<String> {
    let area = buffer.area;
    (0..area.height)
        .map(|y| (0..area.width).map(|x| buffer[(x, y)].symbol()).collect::<String>().trim_end().to_owned())
        .collect()
}

#[test]
fn the_picture_tells_counts_marks_sureness_and_what_changed() {
    let mut work = Work::new();
    work.go_to(4);
    work.press(&[Action::Later, Action::Later]);
    let palette = Palette { theme: Theme::Dark, depth: Depth::Full };
    // The columns of a count grow with the window.
    for (width, height, cell) in [(80, 24, 4), (120, 40, 4), (200, 60, 6), (300, 100, 8)] {
        let buffer = picture(&work, width, height, palette);
        let lines = text(&buffer);
        assert!(lines[0].starts_with(" repairing the beats"), "{lines:#?}");
        assert!(lines[1].ends_with("phrase 1 (A), count 5  bar 3, beat 1  0:02.0  paused"), "{lines:#?}");
        // Every count in a column of its own, and a bar's line before each second one.
        for (count, sign) in ["| 1", "  2", "| 3", "  4", "| 5", "  6"].into_iter().enumerate() {
            let from = 11 + cell * count;
            assert_eq!(&lines[2][from..from + 3], sign, "{lines:#?}");
        }
        // Beat 5, placed by hand and later than before, under its count.
        let five = 11 + 4 * cell;
        assert_eq!(&lines[3][five + 1..five + 3], "+>", "{lines:#?}");
        assert!(lines[4].contains("sure"), "{lines:#?}");
        let foot = &lines[usize::from(height) - 3];
        assert!(foot.contains("since you came: 1 beat moved by up to 20 ms, at 0:02.0"), "{foot}");
        let keys = lines.last().expect("rows");
        assert!(keys.contains("space play  t tap") && keys.ends_with("? help  esc leave"), "{keys}");
        // The cursor is on count 5.
        let number = &buffer[(five as u16 + 2, 2)];
        assert_eq!(number.symbol(), "5");
        assert!(number.modifier.contains(Modifier::REVERSED));
        assert_eq!(buffer[(five as u16 + 1, 3)].fg, palette.style(Ink::Mark).fg.expect("a colour"));
    }
    work.press(&[Action::Compare]);
    let before = text(&picture(&work, 80, 24, palette));
    assert!(before[1].contains("AS IT WAS BEFORE"), "{before:#?}");
    assert!(!before[3].contains('+'), "{before:#?}");
    assert!(compare(&work.state.before, &work.dance.grid).moved >= 1);
    let small = text(&picture(&work, 30, 8, palette));
    assert_eq!(small[0], "window too small");
}

/// What a sentence says to do stands at its end, which is seen in the smallest usual window too.
#[test]
fn a_long_sentence_has_two_rows() {
    let mut work = Work::new();
    work.press(&[Action::Remove]);
    let said = work.state.notice.clone().expect("the first beat stays");
    let lines = text(&picture(&work, 80, 24, Palette::default()));
    let shown = format!("{} {}", lines[21].trim(), lines[22].trim());
    assert_eq!(shown, said);
    assert!(lines[23].contains("? help"), "{lines:#?}");
}

/// Every key stands once under its purpose, in the program at any size and in its page of the docs.
#[test]
fn all_keys_stand_in_the_help_and_in_the_docs_under_what_they_are_for() {
    let page = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/repairing.md"));
    let page = page.expect("the page is there");
    let written: Vec<&str> = page
        .lines()
        .skip_while(|line| *line != "## All keys")
        .filter(|line| line.starts_with("### ") || line.starts_with("| "))
        .filter(|line| !line.starts_with("| key |"))
        .collect();
    let mut wanted = Vec::new();
    for group in Group::ALL {
        wanted.push(format!("### {}", group.name()));
        wanted.extend(group.keys().map(|key| format!("| {} | {} |", key.name.replace('|', "\\|"), key.help)));
    }
    assert_eq!(written, wanted);
    let explained = KEYS.iter().filter(|key| !key.help.is_empty()).count();
    assert_eq!(wanted.len(), explained + Group::ALL.len(), "every key is in one group");

    let mut work = Work::new();
    for (width, height, pages) in [(80, 24, 2), (120, 40, 1), (200, 60, 1)] {
        assert_eq!(help_pages((width, height)), pages, "{width}x{height}");
        let mut lines = Vec::new();
        for page in 0..pages {
            work.state.help = Some(page);
            lines.extend(text(&picture(&work, width, height, Palette::default())));
        }
        let all = lines.join("\n");
        let shown = Group::ALL
            .iter()
            .map(|group| group.name())
            .chain(KEYS.iter().map(|key| key.help).filter(|help| !help.is_empty()));
        for words in shown {
            assert_eq!(all.matches(&format!(" {words}")).count(), 1, "'{words}' at {width}x{height}:\n{all}");
        }
    }
    work.press(&[Action::Home]);
    assert_eq!(work.state.help, None, "any other key closes it");
}

#[test]
fn no_two_keys_are_the_same() {
    let mut keys: Vec<_> = KEYS.iter().flat_map(|binding| binding.keys).collect();
    let count = keys.len();
    keys.sort_by_key(|key| format!("{key:?}"));
    keys.dedup();
    assert_eq!(keys.len(), count);
}

/// A search goes on from what an earlier one left, as far as the same was asked: the answer must be that of a search from
/// nothing, after any corrections in any order.
#[test]
fn what_was_found_before_changes_nothing_whatever_is_said_next() {
    // A linear congruential generator (Numerical Recipes).
    let mut state = 11u32;
    let mut below = |n: usize| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as usize % n
    };
    let beats = GOATS.0.grid.beats().to_vec();
    let mut remembered = Remembered::default();
    let mut said: Vec<Anchor> = Vec::new();
    for round in 0..120 {
        let at = beats[below(beats.len() - 4)];
        let off = Seconds(at.0 + below(200) as f64 * 1e-3 - 0.1);
        match below(8) {
            0 | 1 => said.push(Anchor::Beat { at: off }),
            2 | 3 => said.push(Anchor::Tap { at: off }),
            4 => said.push(Anchor::Level { from: at, level: [Level::Half, Level::Double][below(2)] }),
            5 => said.push(Anchor::Hold { at, until: Seconds(at.0 + 1.5) }),
            6 => said.clear(),
            _ => drop(said.pop()),
        }
        let again = GOATS.1.grid_again(&said, &mut remembered);
        assert_eq!(again, GOATS.1.grid(&said), "round {round}: {said:?}");
    }
}
