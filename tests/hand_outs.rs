//! Hand-outs from outside: PDFs as poppler reads them, drawings as another parser reads them, files as the program writes
//! them.

#[path = "support/dances.rs"]
mod dances;
#[path = "support/heard.rs"]
mod music;

use dances::{any_dance, full};
use farandole::check::check;
use farandole::dance::{Dance, MoveBook, Profile, Prompt, Source, draft, new_dance};
use farandole::grid::Grid;
use farandole::handout::{Chart, Kind, Material, Paper, make, unprintable};
use farandole::listening::{Articulation, Listening, TurnKind};
use farandole::units::{Beat, Seconds};
use music::{heard, phrase, turn};
use proptest::prelude::*;
use roxmltree::{Document, Node};
use std::fs;
use std::path::Path;
use std::process::Command;

/// A rondo of five phrases after an upbeat, 64 counts, with a rest, a leap in loudness and an accelerando, and the dance
/// that is drafted for it.
fn rondo() -> (Dance, Listening) {
    let phrases = [
        phrase("A", 16, 112.0, 3).joined(Articulation::Staccato),
        phrase("B", 8, 112.0, 2).joined(Articulation::Legato),
        phrase("A'", 16, 112.0, 3).joined(Articulation::Staccato),
        phrase("C", 16, 112.0, 5).speeding_to(140.0),
        phrase("end", 8, 140.0, 4),
    ];
    let turns = [
        turn(TurnKind::Rest, 24.0, 26.0),
        turn(TurnKind::SubitoLoud, 42.0, 42.0),
        turn(TurnKind::Accelerando, 44.0, 56.0),
        turn(TurnKind::Crescendo, 45.0, 57.0),
    ];
    let heard = heard(2, &phrases, &turns);
    let drafted = draft(&heard, &MoveBook::built_in(), &Profile::default()).expect("a beat was heard");
    let mut recording: Source = full().recording;
    recording.path = "../home/berta/Musik/grandmother's tape.flac".into();
    recording.identity.frames = (heard.length.0 * f64::from(recording.identity.rate)).round() as u64;
    let mut dance = new_dance("Goats & \"sheep\" <3", recording, Profile::default(), &heard, drafted);
    dance.notes = "Watch little Karl near the door.".into();
    // The second stands where the landmarks' words are thickest.
    let asked =
        [(26.0, "Was it louder or softer?", "Softer, and smooth."), (45.0, "What grows?", "Two things.")];
    dance.prompts = asked
        .map(|(at, question, answer)| Prompt {
            at: Beat(at),
            question: question.into(),
            answer: answer.into(),
            pause: true,
            unknown: serde_json::Map::new(),
        })
        .into();
    (dance, heard)
}

fn material<'a>(dance: &'a Dance, heard: &'a Listening) -> Material<'a> {
    Material { dance, heard: Some(heard), paper: Paper::A4, notes: false }
}

/// Every drawing kind in every form, by file name.
fn everything(material: &Material<'_>) -> Vec<(String, Vec<u8>)> {
    [Kind::CountSheet, Kind::ListeningMap, Kind::AnsweredMap]
        .into_iter()
        .flat_map(|kind| kind.endings().iter().map(move |&ending| (kind, ending)))
        .map(|(kind, ending)| {
            let bytes = make(kind, ending, material).expect("there are counts to print");
            (format!("{}.{ending}", kind.stem()), bytes)
        })
        .collect()
}

/// What one of poppler's programs says about a PDF.
fn poppler(program: &str, arguments: &[&str], pdf: &[u8]) -> String {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let file = folder.path().join("it.pdf");
    fs::write(&file, pdf).expect("a writable folder");
    let output = Command::new(program)
        .args(arguments.iter().take_while(|argument| **argument != "-"))
        .arg(&file)
        .args(arguments.iter().skip_while(|argument| **argument != "-"))
        .output()
        .unwrap_or_else(|error| {
            panic!("{program} is needed (poppler-utils; './start test' installs it): {error}")
        });
    let complaints = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && complaints.is_empty(), "{program}: {complaints}");
    String::from_utf8(output.stdout).expect("UTF-8 from poppler")
}

/// The words of a PDF on single spaces.
fn text(pdf: &[u8]) -> String {
    poppler("pdftotext", &["-enc", "UTF-8", "-"], pdf).split_whitespace().collect::<Vec<_>>().join(" ")
}

fn parsed(svg: &[u8]) -> String {
    String::from_utf8(svg.to_vec()).expect("SVG is UTF-8")
}

fn of_class<'a>(document: &'a Document<'_>, class: &str) -> Vec<Node<'a, 'a>> {
    document.descendants().filter(|node| node.attribute("class") == Some(class)).collect()
}

fn number(node: &Node<'_, '_>, name: &str) -> f64 {
    node.attribute(name).expect("the attribute").parse().expect("a number")
}

/// Where a path begins.
fn start(node: &Node<'_, '_>) -> (f64, f64) {
    let path = node.attribute("d").expect("a path").trim_start_matches('M');
    let end = path.find(['L', 'C', 'Z', 'M']).unwrap_or(path.len());
    let numbers: Vec<f64> = path[..end].split(' ').map(|number| number.parse().expect("a number")).collect();
    (numbers[0], numbers[1])
}

/// ISO 216: A4 is 210 by 297 mm, 595.276 by 841.89 points. US Letter is 612 by 792.
#[test]
fn pdfs_have_the_size_of_their_paper_and_no_date() {
    let (dance, heard) = rondo();
    for (paper, upright, aside) in [
        (Paper::A4, "595.276 x 841.89 pts (A4)", "841.89 x 595.276 pts (A4)"),
        (Paper::Letter, "612 x 792 pts (letter)", "792 x 612 pts (letter)"),
    ] {
        let material = Material { paper, ..material(&dance, &heard) };
        for (kind, size) in
            [(Kind::CountSheet, upright), (Kind::ListeningMap, aside), (Kind::AnsweredMap, aside)]
        {
            let info = poppler("pdfinfo", &[], &make(kind, "pdf", &material).expect("counts"));
            assert!(info.contains(size), "{kind}: {info}");
            assert!(info.contains("Title:           Goats & \"sheep\" <3: "), "{info}");
            assert!(!info.contains("Date:") && !info.contains("Producer:"), "{info}");
        }
    }
}

#[test]
fn every_letter_of_a_pdf_is_embedded_and_can_be_copied() {
    let (dance, heard) = rondo();
    for (name, bytes) in
        everything(&material(&dance, &heard)).into_iter().filter(|(name, _)| name.ends_with(".pdf"))
    {
        let fonts = poppler("pdffonts", &[], &bytes);
        let rows: Vec<&str> = fonts.lines().skip(2).collect();
        assert_eq!(rows.len(), 2, "{name}: {fonts}");
        assert!(rows.iter().all(|row| row.contains("yes yes yes")), "{name}: {fonts}");
        assert!(
            bytes.len() < 200_000,
            "{name} holds {} bytes: only the letters in use belong in it",
            bytes.len()
        );
    }
}

#[test]
fn the_count_sheet_says_everything_a_teacher_needs() {
    let (mut dance, heard) = rondo();
    dance.recording.year = Some(1925);
    let printed = text(&make(Kind::CountSheet, "pdf", &material(&dance, &heard)).expect("counts"));
    let page = parsed(&make(Kind::CountSheet, "html", &material(&dance, &heard)).expect("counts"));
    let mut wanted: Vec<String> = [
        "Before you dance",
        "phrase 2 (B), at",
        "Was it louder or softer? (the music waits)",
        "Answer: Softer, and smooth.",
        "A village band",
        "First published: 1925",
        "one of 1925 until 1 January 2026; check locally",
        "smooth notes (legato)",
        "pickup, at 0:01",
        "age 7 and up",
        "never round neck",
    ]
    .map(str::to_owned)
    .into();
    for cue in &dance.cues {
        wanted.push(dance.words_of(cue).to_owned());
        let entry = dance.move_of(cue).expect("drafts use moves");
        wanted.extend([entry.how.clone(), entry.seated.how.clone(), entry.low_impact.how.clone()]);
        wanted.extend([
            format!("sitting: {}", entry.seated.words),
            format!("gently: {}", entry.low_impact.words),
        ]);
        wanted.extend(entry.caution.clone());
    }
    for words in wanted {
        assert!(printed.contains(&words), "the PDF lacks '{words}':\n{printed}");
    }
    for cue in &dance.cues {
        assert!(page.contains(&format!(">{}<", dance.words_of(cue).replace('\'', "&#39;"))));
    }
    assert!(!printed.contains("safe to"), "nothing is promised");
    assert!(!printed.contains("Karl") && !page.contains("Karl"), "notes to herself stay with her");
    let noted = Material { notes: true, ..material(&dance, &heard) };
    assert!(text(&make(Kind::CountSheet, "pdf", &noted).expect("counts")).contains("Watch little Karl"));
}

#[test]
fn no_word_leaves_its_sheet_or_lies_over_another() {
    let (dance, heard) = rondo();
    let report = check(&dance, Some(&heard));
    let chart = Chart { dance: &dance, heard: Some(&heard), report: &report }.pdf();
    let mut sheets = vec![("landing-chart.pdf".to_owned(), chart)];
    sheets
        .extend(everything(&material(&dance, &heard)).into_iter().filter(|(name, _)| name.ends_with(".pdf")));
    for (name, bytes) in sheets {
        let boxes = poppler("pdftotext", &["-bbox", "-"], &bytes);
        let mut page = (0.0, 0.0);
        let mut words: Vec<(f64, f64, f64, f64, String)> = Vec::new();
        for line in boxes.lines() {
            let get = |key: &str| -> f64 {
                let from =
                    line.find(&format!("{key}=\"")).map(|at| at + key.len() + 2).expect("the attribute");
                line[from..].split('"').next().expect("its value").parse().expect("a number")
            };
            if line.contains("<page ") {
                page = (get("width"), get("height"));
                words.clear();
            } else if line.contains("<word ") {
                let (left, top, right, bottom) = (get("xMin"), get("yMin"), get("xMax"), get("yMax"));
                assert!(
                    left >= 10.0 && right <= page.0 - 10.0 && top >= 5.0 && bottom <= page.1 - 5.0,
                    "{name}: {line}"
                );
                // Letters fill the middle of their line's height; ascenders and descenders of neighbours may meet.
                let slim =
                    (left + 0.5, top + 0.35 * (bottom - top), right - 0.5, bottom - 0.35 * (bottom - top));
                for other in &words {
                    let apart =
                        slim.2 <= other.0 || other.2 <= slim.0 || slim.3 <= other.1 || other.3 <= slim.1;
                    assert!(apart, "{name}: {line} lies over {other:?}");
                }
                words.push((slim.0, slim.1, slim.2, slim.3, line.to_owned()));
            }
        }
        assert!(words.len() > 20, "{name} has words");
    }
}

#[test]
fn every_row_of_the_count_sheet_tells_how_fast_the_music_is_and_how_its_notes_are_joined() {
    let (dance, heard) = rondo();
    let page = parsed(&make(Kind::CountSheet, "html", &material(&dance, &heard)).expect("counts"));
    let of = |class: &str| -> Vec<&str> {
        page.lines().filter(|line| line.contains(&format!("class=\"{class}\""))).collect()
    };
    // The upbeat, A, B, A', C, end; in the last two the notes are unclear, and nothing is told of the upbeat.
    let touch = of("touch");
    assert_eq!((of("tempo").len(), touch.len()), (6, 3), "{touch:?}");
    let dashed = |line: &&str| line.contains("stroke-dasharray");
    assert_eq!(touch.iter().map(dashed).collect::<Vec<_>>(), [true, false, true], "short, smooth, short");
    let heights = |line: &str| -> Vec<f64> {
        let path = line.split(" d=\"").nth(1).and_then(|rest| rest.split('"').next()).expect("a path");
        let numbers: Vec<f64> =
            path.split(['M', 'L', ' ']).filter_map(|number| number.parse().ok()).collect();
        numbers.chunks(2).map(|point| point[1]).collect()
    };
    let level = heights(of("tempo")[1]);
    assert!(level.iter().all(|y| (y - level[0]).abs() < 0.1), "A keeps its tempo: {level:?}");
    let rising = heights(of("tempo")[4]);
    assert!(rising.windows(2).all(|pair| pair[1] <= pair[0] + 1e-6), "C grows faster: {rising:?}");
    assert!(rising[0] - rising[rising.len() - 1] > 5.0, "{rising:?}");
    let numbers: Vec<f64> = of("pace")
        .iter()
        .filter_map(|line| line.split('>').nth(1)?.split('<').next()?.parse().ok())
        .collect();
    // One a row, and another at the end of C, where it has changed.
    assert_eq!(numbers.len(), 7, "{numbers:?}");
    assert!(numbers[..5].iter().all(|tempo| (tempo - 112.0).abs() < 4.0), "{numbers:?}");
    assert!(numbers[5] > 130.0 && numbers[6] > 135.0, "{numbers:?}");
    let bare = Material { heard: None, ..material(&dance, &heard) };
    let page = parsed(&make(Kind::CountSheet, "html", &bare).expect("counts"));
    assert!(
        page.contains("class=\"tempo\"") && !page.contains("class=\"touch\""),
        "the counts are the dance's own"
    );
}

#[test]
fn pdfs_are_tagged_so_that_they_can_be_read_aloud_in_order() {
    let (dance, heard) = rondo();
    let material = material(&dance, &heard);
    for kind in Kind::PRINTED {
        let bytes = make(*kind, "pdf", &material).expect("counts");
        let info = poppler("pdfinfo", &[], &bytes);
        assert!(info.lines().any(|line| line.split_whitespace().eq(["Tagged:", "yes"])), "{kind}: {info}");
        let read = poppler("pdfinfo", &["-struct-text"], &bytes);
        assert!(read.starts_with("Document\n"), "{kind}: {read}");
        let count = |what: &str| {
            read.lines().filter(|line| line.trim_start().split(' ').next() == Some(what)).count()
        };
        assert!(count("H1") >= 1 && count("P") > 5, "{kind}: {read}");
        // Every word that can be copied is read, but for what stands at the foot of each sheet.
        let squeezed =
            |text: &str| -> String { text.chars().filter(|c| !c.is_whitespace() && *c != '"').collect() };
        let read_words = squeezed(&read);
        let feet = 2 * info
            .lines()
            .find_map(|line| line.strip_prefix("Pages:")?.trim().parse::<usize>().ok())
            .expect("pages");
        let lines = poppler("pdftotext", &["-raw", "-"], &bytes);
        let missing: Vec<&str> =
            lines.split_whitespace().filter(|word| !read_words.contains(&squeezed(word))).collect();
        assert!(missing.len() <= 12 * feet, "{kind}: {missing:?}");
        if *kind == Kind::CountSheet {
            assert_eq!(
                count("H3"),
                dance.grid.phrases().len() + usize::from(dance.grid.phrases()[0].start > 0),
                "{read}"
            );
            let place = |words: &str| {
                read_words.find(&squeezed(words)).unwrap_or_else(|| panic!("'{words}' in {read}"))
            };
            let first = format!("phrase 1 ({})", dance.grid.phrases()[0].letter);
            assert!(
                place(&dance.title) < place("Before you dance") && place("Before you dance") < place(&first)
            );
            assert!(place(&first) < place("The moves, and how to do them"));
        } else {
            assert_eq!(count("Figure"), 1, "{kind}: {read}");
            assert!(poppler("pdfinfo", &["-struct"], &bytes).contains("Figure"));
        }
    }
}

#[test]
fn the_map_has_a_stone_for_every_beat_and_hides_its_answers() {
    let (dance, heard) = rondo();
    let read = |kind| parsed(&make(kind, "svg", &material(&dance, &heard)).expect("counts"));
    let (blank, answered) = (read(Kind::ListeningMap), read(Kind::AnsweredMap));
    let (blank, answered) = (Document::parse(&blank).expect("XML"), Document::parse(&answered).expect("XML"));
    for map in [&blank, &answered] {
        assert_eq!(map.root_element().tag_name().namespace(), Some("http://www.w3.org/2000/svg"));
        assert_eq!(of_class(map, "stone").len(), dance.grid.len());
        assert_eq!(of_class(map, "phrase").len(), 5);
        assert_eq!(of_class(map, "post").len(), 4, "one post a turn");
        assert_eq!(of_class(map, "question").len(), 2);
    }
    let said = |map: &Document<'_>, class| -> Vec<String> {
        of_class(map, class).iter().filter_map(|node| node.text().map(str::to_owned)).collect()
    };
    assert_eq!(said(&answered, "letter"), ["A", "B", "A'", "C", "end"]);
    let turns = said(&answered, "turn");
    assert!(
        ["rest", "suddenly loud", "faster"].iter().all(|word| turns.contains(&(*word).to_owned())),
        "{turns:?}"
    );
    assert_eq!(said(&answered, "answer"), ["Softer, and smooth.", "Two things."]);
    for class in ["letter", "turn", "answer", "like"] {
        assert!(of_class(&blank, class).is_empty(), "'{class}' is an answer");
    }
}

#[test]
fn stones_are_as_long_as_their_beats() {
    let (dance, heard) = rondo();
    let map = parsed(&make(Kind::AnsweredMap, "svg", &material(&dance, &heard)).expect("counts"));
    let map = Document::parse(&map).expect("XML");
    let stones = of_class(&map, "stone");
    let long = |index: usize| {
        let path = stones[index].attribute("d").expect("a path");
        let numbers: Vec<f64> = path
            .split(|c: char| c.is_alphabetic() || c == ' ')
            .filter(|part| !part.is_empty())
            .map(|part| part.parse().expect("a number"))
            .collect();
        let across: Vec<f64> = numbers.iter().copied().step_by(2).collect();
        across.iter().fold(0.0, |a, &b| f64::max(a, b))
            - across.iter().fold(f64::INFINITY, |a, &b| f64::min(a, b))
    };
    // 112 and 140 counts a minute: strides of 0.536 and 0.429 s, on one scale.
    let ratio = long(4) / long(62);
    assert!((ratio - 140.0 / 112.0).abs() < 0.03, "{ratio}");
}

/// Rows of the map hold as many phrases as leave little of the sheet white.
#[test]
fn three_phrases_of_one_length_have_three_rows_and_four_have_two() {
    let (dance, _) = rondo();
    for (phrases, rows) in [(1, 1), (2, 2), (3, 3), (4, 2), (5, 2), (6, 2)] {
        let letter = |index| farandole::grid::Phrase { start: index * 24, letter: "A".into() };
        let grid = Grid::new(
            (0..phrases * 24).map(|beat| Seconds(0.44 * beat as f64)).collect(),
            (0..phrases * 24).step_by(3).collect(),
            (0..phrases).map(letter).collect(),
        );
        let dance = Dance { grid: grid.expect("ascending"), ..dance.clone() };
        let material = Material { dance: &dance, heard: None, paper: Paper::A4, notes: false };
        let map = parsed(&make(Kind::ListeningMap, "svg", &material).expect("counts"));
        let map = Document::parse(&map).expect("XML");
        let mut tops: Vec<f64> = of_class(&map, "phrase").iter().map(|node| start(node).1).collect();
        assert_eq!(tops.len(), phrases);
        tops.dedup();
        assert_eq!(tops.len(), rows, "{phrases} phrases");
    }
}

#[test]
fn moves_are_explained_two_side_by_side_and_read_one_after_the_other() {
    let (dance, heard) = rondo();
    let sheet = make(Kind::CountSheet, "pdf", &material(&dance, &heard)).expect("counts");
    let seen = poppler("pdftotext", &["-enc", "UTF-8", "-layout", "-"], &sheet);
    let explained = seen.split("The moves, and how to do them").nth(1).expect("the heading");
    let two = |line: &&str| line.matches("Sitting: ").count() == 2;
    assert!(explained.lines().any(|line| two(&line)), "{explained}");
    let squeezed =
        |text: &str| -> String { text.chars().filter(|c| !c.is_whitespace() && *c != '"').collect() };
    let read = squeezed(&poppler("pdfinfo", &["-struct-text"], &sheet)).replace("P(block)", "");
    for entry in dance.cues.iter().filter_map(|cue| dance.move_of(cue)) {
        let caution = entry.caution.as_ref().map_or_else(String::new, |text| format!("Take care: {text}"));
        let (seated, low) = (&entry.seated, &entry.low_impact);
        let whole = format!(
            "{}{}Sitting: {} \u{2013} {}Gently: {} \u{2013} {}{caution}",
            entry.sign, entry.how, seated.words, seated.how, low.words, low.how
        );
        assert!(read.contains(&squeezed(&whole)), "'{whole}' in one piece in {read}");
    }
}

/// The moves, how to do them and the rights are read together: where they do not all fit under the last row they begin a sheet.
#[test]
fn no_sheet_holds_the_rights_alone() {
    for phrases in 1..12 {
        let (mut dance, _) = rondo();
        let letter = |index| farandole::grid::Phrase { start: index * 16, letter: "A".into() };
        let grid = Grid::new(
            (0..phrases * 16).map(|beat| Seconds(0.5 * beat as f64)).collect(),
            (0..phrases * 16).step_by(4).collect(),
            (0..phrases).map(letter).collect(),
        );
        dance.grid = grid.expect("ascending");
        for paper in [Paper::A4, Paper::Letter] {
            let material = Material { dance: &dance, heard: None, paper, notes: false };
            let sheet = make(Kind::CountSheet, "pdf", &material).expect("counts");
            let words = poppler("pdftotext", &["-enc", "UTF-8", "-"], &sheet);
            let last = words.split('\u{c}').rfind(|page| !page.trim().is_empty()).expect("a sheet");
            assert!(last.contains("Rights in the recording"), "{last}");
            assert!(
                last.contains("The moves, and how to do them"),
                "{phrases} phrases on {paper:?}:\n{last}"
            );
        }
    }
}

#[test]
fn the_landing_chart_shows_every_cue_and_how_far_each_turn_is_from_one() {
    let (dance, heard) = rondo();
    let report = check(&dance, Some(&heard));
    let svg = Chart { dance: &dance, heard: Some(&heard), report: &report }.svg();
    let chart = Document::parse(&svg).expect("XML");
    let posts: Vec<f64> = of_class(&chart, "cue")
        .iter()
        .filter(|node| node.has_tag_name(("http://www.w3.org/2000/svg", "path")))
        .map(|node| start(node).0)
        .collect();
    assert_eq!(posts.len(), dance.cues.len());
    let labels: Vec<String> =
        of_class(&chart, "turn").iter().filter_map(|node| node.text().map(str::to_owned)).collect();
    assert_eq!(labels.len(), report.turns);
    for landing in &report.landings {
        let off = landing.off.expect("there are cues").0;
        let shown = format!("{:.1}", (off.abs() * 10.0).round() / 10.0);
        let name = farandole::check::turn_name(landing.kind);
        assert!(
            labels.iter().any(|label| label.starts_with(name) && label.ends_with(&shown)),
            "{landing:?} {labels:?}"
        );
    }
    assert_eq!(of_class(&chart, "met").len(), report.turns_met);
    // A cue's post stands where it sounds: the places are linear in time.
    let at: Vec<f64> = dance.cues.iter().map(|cue| dance.grid.seconds_at(cue.at).0).collect();
    let scale = (posts[posts.len() - 1] - posts[0]) / (at[at.len() - 1] - at[0]);
    for (post, at_cue) in posts.iter().zip(&at) {
        assert!((post - posts[0] - scale * (at_cue - at[0])).abs() < 0.05, "{posts:?} {at:?}");
    }
    let summary: Vec<_> =
        of_class(&chart, "summary").iter().filter_map(|node| node.text().map(str::to_owned)).collect();
    assert!(
        summary[0].starts_with(&format!("{} of {} turns met", report.turns_met, report.turns)),
        "{summary:?}"
    );
}

#[test]
fn a_long_piece_and_a_piece_without_phrases_can_be_printed() {
    let (dance, _) = rondo();
    for (beats, phrases) in [(1, 0), (7, 0), (900, 0), (900, 24), (3_000, 40)] {
        let grid = Grid::new(
            (0..beats).map(|beat| Seconds(0.4 * f64::from(beat))).collect(),
            (0..beats as usize).step_by(4).collect(),
            (0..phrases)
                .map(|index| farandole::grid::Phrase { start: index * 30, letter: "B".into() })
                .collect(),
        )
        .expect("ascending");
        let dance = Dance { grid, ..dance.clone() };
        let material = Material { dance: &dance, heard: None, paper: Paper::A4, notes: true };
        for (name, bytes) in everything(&material) {
            if name.ends_with(".svg") {
                Document::parse(&parsed(&bytes)).unwrap_or_else(|error| panic!("{name}: {error}"));
            } else if name.ends_with(".pdf") {
                assert!(poppler("pdfinfo", &[], &bytes).contains("Pages:"));
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn every_dance_with_beats_can_be_printed_twice_alike(dance in any_dance()) {
        let material = Material { dance: &dance, heard: None, paper: Paper::Letter, notes: true };
        if dance.grid.is_empty() {
            prop_assert!(make(Kind::CountSheet, "pdf", &material).is_err());
            return Ok(());
        }
        let once = everything(&material);
        prop_assert_eq!(&once, &everything(&material));
        for (name, bytes) in once {
            if name.ends_with(".svg") {
                let svg = parsed(&bytes);
                let read = Document::parse(&svg);
                prop_assert!(read.is_ok(), "{}: {:?}", name, read.err());
                let words = read.expect("just checked");
                for node in words.descendants().filter(|node| node.attribute("x").is_some()) {
                    prop_assert!(number(&node, "x").is_finite() && number(&node, "y").is_finite());
                }
            }
        }
        let report = check(&dance, None);
        let chart = Chart { dance: &dance, heard: None, report: &report };
        prop_assert_eq!(chart.pdf(), chart.pdf());
        let svg = chart.svg();
        prop_assert!(Document::parse(&svg).is_ok());
    }
}

#[test]
fn letters_that_cannot_be_printed_are_named_and_every_sign_of_the_move_book_can() {
    let (mut dance, _) = rondo();
    dance.moves = MoveBook::built_in().moves().cloned().collect();
    assert_eq!(unprintable(&dance), []);
    dance.title = "Fête \u{6F22}\u{5B57} \u{6F22} \u{1F483}".into();
    assert_eq!(unprintable(&dance), ['\u{6F22}', '\u{5B57}', '\u{1F483}']);
}

/// Runs the program in a folder that looks like somebody's home.
fn run(home: &Path, arguments: &[&str]) -> std::process::Output {
    let mut command =
        assert_cmd::Command::cargo_bin("farandole").expect("the program is built for its tests");
    command.current_dir(home).env("HOME", home).env("USER", "berta.kummer").env_remove("XDG_CACHE_HOME");
    command.args(arguments).output().expect("the program starts")
}

#[test]
fn the_same_dance_gives_the_same_bytes_in_every_home_and_none_of_it_leaks() {
    let mut made: Vec<Vec<(String, Vec<u8>)>> = Vec::new();
    for home in ["home/berta.kummer/Class 3b", "Users/ambros/lessons"] {
        let root = tempfile::tempdir().expect("a scratch folder");
        let home = root.path().join(home);
        fs::create_dir_all(&home).expect("a writable folder");
        let (mut dance, _) = rondo();
        dance.recording.path = home.join("private/tape of Karl.flac").to_string_lossy().into_owned();
        fs::write(home.join("goats.dance.json"), farandole::dance::file::to_json(&dance))
            .expect("a writable folder");
        fs::create_dir(home.join("out")).expect("a writable folder");
        let whole = ["hand-out", "goats.dance.json", "--sheet", "--map", "--answers", "--to", "out"];
        let output = run(&home, &whole);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        for name in ["out/chart.svg", "out/chart.pdf"] {
            let output = run(&home, &["check", "goats.dance.json", "--chart", name]);
            assert_ne!(output.status.code(), Some(2), "{}", String::from_utf8_lossy(&output.stderr));
        }
        let mut files: Vec<(String, Vec<u8>)> = fs::read_dir(home.join("out"))
            .expect("a folder")
            .map(|entry| entry.expect("an entry"))
            .map(|entry| {
                (entry.file_name().to_string_lossy().into_owned(), fs::read(entry.path()).expect("a file"))
            })
            .collect();
        files.sort();
        assert_eq!(files.len(), 8, "{:?}", files.iter().map(|file| &file.0).collect::<Vec<_>>());
        for (name, bytes) in &files {
            let mut words = String::from_utf8_lossy(bytes).into_owned();
            if name.ends_with(".pdf") {
                words += &text(bytes);
                words += &poppler("pdfinfo", &[], bytes);
            }
            for secret in
                ["berta", "kummer", "ambros", "Class 3b", "Karl", "tape", "private", "/home", "Users"]
            {
                assert!(!words.contains(secret), "{name} tells '{secret}'");
            }
        }
        made.push(files);
    }
    assert!(made[0] == made[1], "another folder gives other bytes");
}
