use super::*;
use crate::dance::{MoveBook, MoveId, SCHEMA, Side, Source};
use crate::grid::Phrase;
use crate::identity::Identity;
use crate::units::{Counts, Seconds};
use std::time::Duration;

fn steady(beats: usize, gap: f64) -> Grid {
    let times = (0..beats).map(|beat| Seconds(beat as f64 * gap)).collect();
    let phrases = (0..beats).step_by(8).map(|start| Phrase { start, letter: "A".into() }).collect();
    Grid::new(times, (0..beats).step_by(4).collect(), phrases).expect("ascending")
}

/// A dance on 32 steady beats whose cues are `(at, counts, move)`; without a move they say "free".
fn dance(cues: &[(f64, f64, &str)]) -> Dance {
    let cue = |&(at, counts, id): &(f64, f64, &str)| {
        let cue = Cue::new(Beat(at), Counts(counts), MoveId(id.into()));
        if id.is_empty() { Cue { movement: None, words: Some("free".into()), ..cue } } else { cue }
    };
    let mut dance = Dance {
        schema: SCHEMA,
        title: String::new(),
        recording: Source {
            path: "a.wav".into(),
            identity: Identity { hash: String::new(), frames: 0, rate: 48_000 },
            title: None,
            performer: None,
            year: None,
            unknown: serde_json::Map::new(),
        },
        profile: Profile::default().into(),
        notes: String::new(),
        grid: steady(32, 0.5),
        anchors: vec![],
        moves: vec![],
        cues: cues.iter().map(cue).collect(),
        prompts: vec![],
        silenced: vec![],
        unknown: serde_json::Map::new(),
    };
    let book = MoveBook::built_in();
    dance.moves = book.moves().filter(|entry| cues.iter().any(|cue| cue.2 == entry.id.0)).cloned().collect();
    dance.moves.sort_by(|a, b| a.id.cmp(&b.id));
    dance
}

fn shape(dance: &Dance) -> Vec<(f64, f64, &str)> {
    dance
        .cues
        .iter()
        .map(|cue| (cue.at.0, cue.counts.0, cue.movement.as_ref().map_or("", |id| id.0.as_str())))
        .collect()
}

/// The dance after one command.
fn after(dance: &Dance, command: &Command) -> Dance {
    let mut dance = dance.clone();
    let planned = plan(&dance, &MoveBook::built_in(), command).expect("possible");
    apply(&mut dance, planned.edit).expect("just planned");
    dance
}

fn refusal(dance: &Dance, command: &Command) -> String {
    plan(dance, &MoveBook::built_in(), command).expect_err("must be refused").to_string()
}

fn march_at(at: f64, counts: f64) -> Command {
    Command::AddCue { cue: Cue::new(Beat(at), Counts(counts), MoveId("march".into())), over: Over::Erase }
}

#[test]
fn a_cue_put_in_the_middle_of_another_cuts_it_in_two() {
    let dance = after(&dance(&[(0.0, 16.0, "walk")]), &march_at(4.0, 4.0));
    assert_eq!(shape(&dance), [(0.0, 4.0, "walk"), (4.0, 4.0, "march"), (8.0, 8.0, "walk")]);
}

#[test]
fn a_cue_put_over_others_shortens_the_outer_ones_and_rubs_out_the_inner_one() {
    let dance = dance(&[(0.0, 5.0, "walk"), (5.0, 2.0, "clap"), (7.0, 5.0, "jump")]);
    let after = after(&dance, &march_at(4.0, 4.0));
    assert_eq!(shape(&after), [(0.0, 4.0, "walk"), (4.0, 4.0, "march"), (8.0, 4.0, "jump")]);
    let names: Vec<&str> = after.moves.iter().map(|entry| entry.id.0.as_str()).collect();
    assert_eq!(names, ["jump", "march", "walk"]);
}

#[test]
fn a_cue_that_may_overlap_leaves_the_others_whole() {
    let Command::AddCue { cue, .. } = march_at(4.0, 4.0) else { unreachable!("it is") };
    let dance = after(&dance(&[(0.0, 16.0, "walk")]), &Command::AddCue { cue, over: Over::Keep });
    assert_eq!(shape(&dance), [(0.0, 16.0, "walk"), (4.0, 4.0, "march")]);
}

#[test]
fn a_cue_ends_with_the_music_and_begins_before_its_end() {
    assert_eq!(shape(&after(&dance(&[]), &march_at(28.0, 8.0))), [(28.0, 4.0, "march")]);
    assert_eq!(
        refusal(&dance(&[]), &march_at(32.0, 8.0)),
        "'march' cannot begin on beat 33, for the music has 32 beats; place it on the last one or earlier"
    );
    assert_eq!(
        refusal(&dance(&[]), &march_at(-1.0, 8.0)),
        "'march' cannot begin before the first beat; place it on the first beat or later"
    );
}

#[test]
fn a_split_cue_says_the_same_twice_and_joins_again() {
    let whole = dance(&[(0.0, 8.0, "walk"), (8.0, 8.0, "clap")]);
    let split = after(&whole, &Command::SplitCue { cue: 0, at: Beat(3.0) });
    assert_eq!(shape(&split), [(0.0, 3.0, "walk"), (3.0, 5.0, "walk"), (8.0, 8.0, "clap")]);
    assert_eq!(after(&split, &Command::JoinCue { cue: 0 }), whole);
    assert_eq!(
        refusal(&whole, &Command::SplitCue { cue: 0, at: Beat(8.0) }),
        "'walk' can only be split between its first count and its end; go to a count inside it"
    );
    assert_eq!(
        refusal(&whole, &Command::JoinCue { cue: 1 }),
        "'clap' is the last cue, so there is none to join it with; lengthen it instead"
    );
}

#[test]
fn another_move_brings_its_own_words_and_drops_a_side_it_does_not_have() {
    let mut start = dance(&[(0.0, 8.0, "step-touch")]);
    start.cues[0].words = Some("step like a cat".into());
    start.cues[0].side = Some(Side::Left);
    let changed = after(&start, &Command::ChangeMove { cue: 0, to: Some(MoveId("walk".into())) });
    assert_eq!((changed.words_of(&changed.cues[0]), changed.cues[0].side), ("walk", None));
    let free = after(&start, &Command::ChangeMove { cue: 0, to: None });
    assert_eq!((free.words_of(&free.cues[0]), free.moves.len()), ("step like a cat", 0));
    let fly = MoveId("fly".into());
    assert_eq!(
        refusal(&start, &Command::ChangeMove { cue: 0, to: Some(fly) }),
        "there is no move 'fly' in the move book; choose another, or write free words"
    );
}

#[test]
fn the_copy_of_a_move_in_the_dance_outranks_the_book() {
    let mut start = dance(&[(0.0, 8.0, "walk")]);
    start.moves[0].words = "stroll".into();
    let Command::AddCue { mut cue, over } = march_at(8.0, 8.0) else { unreachable!("it is") };
    cue.movement = Some(MoveId("walk".into()));
    let more = after(&start, &Command::AddCue { cue, over });
    assert_eq!(more.moves, start.moves);
}

#[test]
fn a_phrase_is_repeated_count_by_count_with_what_is_held_into_it() {
    // The first cue is held one count into phrase 2; phrase 4 has something to be written over.
    let start = dance(&[(4.0, 5.0, "walk"), (12.0, 8.0, "clap"), (23.0, 4.0, "jump")]);
    let into = vec![3, 1];
    let repeated = after(&start, &Command::RepeatPhrase { phrase: 1, into, mirror: false });
    let expected = [
        (4.0, 5.0, "walk"),
        (12.0, 8.0, "clap"),
        (23.0, 1.0, "jump"),
        (24.0, 1.0, "walk"),
        (28.0, 4.0, "clap"),
    ];
    // Phrase 4 keeps what the source does not say: its counts 2 to 4 are empty, as in phrase 2.
    assert_eq!(shape(&repeated), expected);
    assert_eq!(
        refusal(&dance(&[]), &Command::RepeatPhrase { phrase: 0, into: vec![1], mirror: false }),
        "phrase 1 has no moves yet, so there is nothing to repeat; choose a phrase that has some"
    );
    assert_eq!(
        refusal(&start, &Command::RepeatPhrase { phrase: 0, into: vec![9], mirror: false }),
        "there is no phrase 10: the music has 4; choose one of them"
    );
}

#[test]
fn a_mirrored_repeat_goes_to_the_other_side() {
    let mut start = dance(&[(0.0, 4.0, "sway"), (4.0, 4.0, "walk")]);
    start.cues[0].side = Some(Side::Left);
    let repeated = after(&start, &Command::RepeatPhrase { phrase: 0, into: vec![1], mirror: true });
    let sides: Vec<Option<Side>> = repeated.cues.iter().map(|cue| cue.side).collect();
    assert_eq!(sides, [Some(Side::Left), None, Some(Side::Right), None]);
    let back = after(&start, &Command::Mirror { from: Beat(8.0), to: Beat(0.0) });
    assert_eq!(back.cues[0].side, Some(Side::Right));
}

#[test]
fn a_reason_that_names_the_move_goes_with_it_and_a_note_of_hers_stays() {
    let mut start = dance(&[(0.0, 4.0, "walk"), (4.0, 4.0, "walk")]);
    start.cues[0].why = Some("phrase 1 is calm; 'walk' has energy 2 of 5".into());
    start.cues[1].why = Some("they know this from last year".into());
    let why = |dance: &Dance| dance.cues.iter().map(|cue| cue.why.clone()).collect::<Vec<_>>();
    let hers = vec![None, start.cues[1].why.clone()];
    let to = MoveId("clap".into());
    let replaced = after(&start, &Command::ReplaceMove { from: MoveId("walk".into()), to: to.clone() });
    assert_eq!(why(&replaced), hers);
    let changed = |cue, to| after(&start, &Command::ChangeMove { cue, to: Some(to) });
    assert_eq!(why(&changed(0, to.clone())), hers);
    assert_eq!(why(&changed(1, to)), why(&start));
    assert_eq!(why(&changed(0, MoveId("walk".into()))), why(&start));
}

#[test]
fn a_move_is_replaced_everywhere_in_one_edit() {
    let start = dance(&[(0.0, 4.0, "walk"), (4.0, 4.0, "clap"), (8.0, 4.0, "walk")]);
    let (from, to) = (MoveId("walk".into()), MoveId("tiptoe".into()));
    let replaced = after(&start, &Command::ReplaceMove { from: from.clone(), to: to.clone() });
    assert_eq!(shape(&replaced), [(0.0, 4.0, "tiptoe"), (4.0, 4.0, "clap"), (8.0, 4.0, "tiptoe")]);
    assert_eq!(
        refusal(&replaced, &Command::ReplaceMove { from, to }),
        "no cue says 'walk', so there is nothing to replace; choose a move that the dance uses"
    );
}

/// The beat was heard at half its speed: every old beat is two new ones, at the same times.
#[test]
fn cues_stay_on_their_music_when_the_level_is_doubled_or_halved() {
    let mut start = dance(&[(3.0, 8.0, "walk"), (16.0, 1.0, "clap")]);
    start.cues[1].lead = Some(Counts(4.0));
    let set = |grid, follow| Command::SetGrid {
        grid,
        anchors: vec![],
        follow,
        label: "correct the beats".into(),
        gesture: None,
    };
    let doubled = after(&start, &set(steady(64, 0.25), Follow::Music));
    assert_eq!(shape(&doubled), [(6.0, 16.0, "walk"), (32.0, 2.0, "clap")]);
    assert_eq!(doubled.cues[1].lead, Some(Counts(8.0)));
    let halved = after(&start, &set(steady(16, 1.0), Follow::Music));
    assert_eq!(shape(&halved), [(1.5, 4.0, "walk"), (8.0, 0.5, "clap")]);
    for cue in 0..2 {
        let sounds = |dance: &Dance| dance.grid.seconds_at(dance.cues[cue].at);
        assert_eq!(sounds(&start), sounds(&doubled));
        assert_eq!(sounds(&start), sounds(&halved));
    }
    let kept = after(&start, &set(steady(64, 0.25), Follow::Counts));
    assert_eq!(shape(&kept), shape(&start));
}

#[test]
fn cues_after_a_beat_that_was_put_in_stay_on_their_music() {
    let start = dance(&[(2.0, 4.0, "walk"), (9.0, 4.0, "clap"), (20.5, 4.0, "jump")]);
    // A long beat 6 was really two; what came after it keeps its times.
    let mut times: Vec<Seconds> = (0..32).map(|beat| Seconds(f64::from(beat) * 0.5)).collect();
    for time in times.iter_mut().skip(7) {
        time.0 += 0.5;
    }
    let old = Grid::new(times.clone(), vec![], vec![]).expect("ascending");
    times.insert(7, Seconds(3.5));
    let new = Grid::new(times, vec![], vec![]).expect("ascending");
    let start = Dance { grid: old, ..start };
    let set = Command::SetGrid {
        grid: new,
        anchors: vec![],
        follow: Follow::Music,
        label: "put a beat in".into(),
        gesture: None,
    };
    assert_eq!(shape(&after(&start, &set)), [(2.0, 4.0, "walk"), (10.0, 4.0, "clap"), (21.5, 4.0, "jump")]);
}

/// Count one was heard a beat early everywhere: what stood on it goes along, and so does the rest.
#[test]
fn cues_go_along_with_count_one() {
    let phrases = |offset: usize| -> Grid {
        let times = (0..33).map(|beat| Seconds(f64::from(beat) * 0.5)).collect();
        let starts = (offset..33).step_by(8).map(|start| Phrase { start, letter: "A".into() }).collect();
        Grid::new(times, vec![], starts).expect("ascending")
    };
    let mut start =
        dance(&[(0.0, 8.0, "walk"), (8.0, 4.0, "clap"), (12.0, 4.0, "jump"), (28.0, 4.0, "walk")]);
    start.grid = phrases(0);
    let set = |grid: Grid| Command::SetGrid {
        grid,
        anchors: vec![],
        follow: Follow::Phrases,
        label: "set count one".into(),
        gesture: None,
    };
    let later = after(&start, &set(phrases(1)));
    assert_eq!(
        shape(&later),
        [(1.0, 8.0, "walk"), (9.0, 4.0, "clap"), (13.0, 4.0, "jump"), (29.0, 4.0, "walk")]
    );
    assert_eq!(shape(&after(&later, &set(phrases(0)))), shape(&start));
    // Only the second half is set right: what ends there is cut short rather than laid over what follows.
    let mut half = phrases(0).phrases()[..2].to_vec();
    half.extend(phrases(1).phrases()[2..].iter().map(|p| Phrase { start: p.start - 2, letter: "A".into() }));
    let times = phrases(0).beats().to_vec();
    let half = Grid::new(times, vec![], half).expect("ascending");
    let mut start = dance(&[(8.0, 8.0, "walk"), (16.0, 4.0, "clap")]);
    start.grid = phrases(0);
    assert_eq!(shape(&after(&start, &set(half))), [(8.0, 7.0, "walk"), (15.0, 4.0, "clap")]);
}

#[test]
fn taps_of_one_run_are_one_step() {
    let mut session = Session::of(&[(0.0, 4.0, "walk")]);
    let start = session.dance.clone();
    let tap = |session: &mut Session, count: u32, gesture| {
        let anchors = (0..count).map(|n| Anchor::Tap { at: Seconds(f64::from(n)) }).collect();
        let grid = steady(20 + count as usize, 0.4);
        let label = "tap along".into();
        session.ask(&Command::SetGrid { grid, anchors, follow: Follow::Music, label, gesture })
    };
    for count in 2..8 {
        tap(&mut session, count, Some(1));
    }
    tap(&mut session, 3, Some(2));
    assert_eq!(session.undone().as_deref(), Some("tap along"));
    assert_eq!(session.dance.anchors.len(), 7);
    assert_eq!(session.undone().as_deref(), Some("tap along"));
    assert_eq!(session.undone(), None);
    assert_eq!(session.dance, start);
}

struct Session {
    dance: Dance,
    history: History,
    now: Duration,
}

impl Session {
    fn of(cues: &[(f64, f64, &str)]) -> Self {
        Self { dance: dance(cues), history: History::of_saved(), now: Duration::ZERO }
    }

    /// Does something a tenth of a second after the last thing.
    fn ask(&mut self, command: &Command) -> Option<Performed> {
        self.now += Duration::from_millis(100);
        let here = Selection::at(Beat(0.0));
        let book = MoveBook::built_in();
        self.history.perform(&mut self.dance, &book, command, here, self.now).expect("possible")
    }

    fn nudge(&mut self, cue: usize, by: f64) -> usize {
        let to = Beat(self.dance.cues[cue].at.0 + by);
        let done = self.ask(&Command::MoveCue { cue, to, over: Over::Erase }).expect("something changed");
        done.target.expect("a moved cue is somewhere")
    }

    fn undone(&mut self) -> Option<String> {
        self.history.undo(&mut self.dance).expect("the history fits").map(|turned| turned.label)
    }
}

#[test]
fn nudging_over_a_neighbour_and_back_leaves_it_whole() {
    let mut session = Session::of(&[(0.0, 4.0, "walk"), (4.0, 2.0, "clap"), (6.0, 2.0, "jump")]);
    let start = session.dance.clone();
    let mut cue = 0;
    for _ in 0..5 {
        cue = session.nudge(cue, 1.0);
    }
    assert_eq!(shape(&session.dance), [(4.0, 1.0, "clap"), (5.0, 4.0, "walk")]);
    for _ in 0..5 {
        cue = session.nudge(cue, -1.0);
    }
    assert_eq!(session.dance, start);
    assert!(!session.history.unsaved());
    assert_eq!(session.undone(), None);
}

#[test]
fn one_gesture_is_one_step() {
    let mut session = Session::of(&[(0.0, 4.0, ""), (8.0, 4.0, "clap")]);
    let start = session.dance.clone();
    for typed in ["r", "ru", "run"] {
        session.ask(&Command::SetWords { cue: 0, words: Some(typed.into()) });
    }
    session.nudge(0, 1.0);
    session.nudge(0, 1.0);
    assert_eq!(shape(&session.dance)[0], (2.0, 4.0, ""));
    assert_eq!(session.undone().as_deref(), Some("move 'run'"));
    assert_eq!(session.undone().as_deref(), Some("change the words of 'free'"));
    assert_eq!(session.undone(), None);
    assert_eq!(session.dance, start);
}

#[test]
fn a_pause_a_save_or_another_cue_ends_the_gesture() {
    let mut session = Session::of(&[(0.0, 2.0, "walk"), (8.0, 2.0, "clap")]);
    session.nudge(0, 1.0);
    session.now += JOIN_WITHIN + Duration::from_millis(1);
    session.nudge(0, 1.0);
    session.history.pause();
    session.nudge(0, 1.0);
    session.history.begin_save();
    session.nudge(0, 1.0);
    session.nudge(1, 1.0);
    let steps = std::iter::from_fn(|| session.undone()).count();
    assert_eq!(steps, 5);
}

#[test]
fn unsaved_means_that_the_present_state_is_not_the_saved_one() {
    let mut session = Session::of(&[(0.0, 2.0, "walk"), (8.0, 2.0, "clap")]);
    assert!(!session.history.unsaved());
    session.nudge(0, 1.0);
    let being_written = session.history.begin_save();
    session.nudge(0, 1.0);
    session.history.saved(being_written);
    assert!(session.history.unsaved(), "typed while the file was written");
    assert_eq!(session.history.steps_since_saved(), 1);
    session.undone();
    assert!(!session.history.unsaved());
    assert_eq!(session.history.steps_since_saved(), 0);
    session.undone();
    assert!(session.history.unsaved());
    assert_eq!(session.history.steps_since_saved(), 1, "the file has a step more");
    session.nudge(1, 1.0);
    session.undone();
    assert!(session.history.unsaved(), "the saved state can no longer be reached");
    assert!(History::of_unsaved().unsaved());
}

#[test]
fn what_changes_nothing_is_no_step_and_keeps_redo() {
    let mut session = Session::of(&[(0.0, 2.0, "walk")]);
    session.nudge(0, 1.0);
    session.undone();
    assert_eq!(session.ask(&Command::SetSide { cue: 0, side: None }), None);
    assert_eq!(session.history.redo_label(), Some("move 'walk'"));
    assert_eq!(session.history.undo_label(), None);
}

#[test]
fn undo_and_redo_bring_the_selection_back() {
    let mut session = Session::of(&[(0.0, 2.0, "walk")]);
    let done = session.ask(&Command::MoveCue { cue: 0, to: Beat(8.0), over: Over::Erase }).expect("a change");
    assert_eq!(done.selection, Selection { from: Beat(8.0), to: Beat(10.0) });
    let undone = session.history.undo(&mut session.dance).expect("fits").expect("a step");
    assert_eq!(undone.selection, Selection::at(Beat(0.0)));
    let redone = session.history.redo(&mut session.dance).expect("fits").expect("a step");
    assert_eq!(redone.selection, done.selection);
}

#[test]
fn several_commands_are_undone_as_one() {
    let mut session = Session::of(&[(0.0, 8.0, "walk")]);
    let start = session.dance.clone();
    let commands =
        vec![Command::SplitCue { cue: 0, at: Beat(4.0) }, Command::RemoveCue { cue: 0 }, march_at(0.0, 2.0)];
    session.ask(&Command::All { label: "vary".into(), commands });
    assert_eq!(shape(&session.dance), [(0.0, 2.0, "march"), (4.0, 4.0, "walk")]);
    assert_eq!(session.undone().as_deref(), Some("vary"));
    assert_eq!(session.dance, start);
}

#[test]
fn a_batch_that_fails_half_way_changes_nothing() {
    let mut changed = dance(&[(0.0, 8.0, "walk")]);
    let start = changed.clone();
    let splice = |from| Edit::Cues(Splice { from, out: 1, items: vec![] });
    let batch = Edit::Batch(vec![Edit::Title("x".into()), splice(0), splice(0)]);
    assert_eq!(apply(&mut changed, batch), Err(EditError::Misfit));
    assert_eq!(changed, start);
    let backwards =
        Edit::Cues(Splice { from: 1, out: 0, items: vec![Cue { at: Beat(-1.0), ..start.cues[0].clone() }] });
    assert_eq!(apply(&mut changed, backwards), Err(EditError::Misfit));
    assert_eq!(changed, start);
}
