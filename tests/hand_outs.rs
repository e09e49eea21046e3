//! Hand-outs from outside: PDFs as poppler reads them, files as the program writes them, and dances of every kind.

#[path = "support/dances.rs"]
mod dances;
#[path = "support/heard.rs"]
mod music;
#[path = "support/printed.rs"]
mod printed;

use dances::any_dance;
use farandole::check::check;
use farandole::dance::{Dance, MoveBook};
use farandole::grid::Grid;
use farandole::handout::{Chart, Kind, Material, Paper, make, unprintable};
use farandole::units::Seconds;
use printed::{everything, material, number, parsed, poppler, rondo, text};
use proptest::prelude::*;
use roxmltree::Document;
use std::fs;
use std::path::Path;

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
