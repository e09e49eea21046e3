//! The listening map: the whole piece as a path for the wall or the shared screen, with or without its answers.
//!
//! With answers the phrases have their letters, the landmarks their words, the phrases what they are like, and the questions
//! their answers; without, there is room to write all of them.

use super::drawing::{Drawing, Ink, Path, Pen, Setting, Weight, fitted, wrapped};
use super::form::{Badge, badges};
use super::hill::{Across, Hill, Signs};
use super::{Material, facts, like};
use crate::grid::PhraseSpan;
use crate::trail::Trail;
use crate::units::{Beat, Seconds};

/// Margin of the sheet in points: 12 mm, which every printer can leave.
const MARGIN: f64 = 34.0;

/// A piece of several phrases has at least so many rows: one alone would be a wall of colour with long steps. Our decision.
const FEWEST_ROWS: usize = 2;

/// Rows of hills that fit on a sheet.
const MOST_ROWS: usize = 4;

/// Another row is begun, too, where the rows are then filled by so much more: three phrases of one length in two rows
/// leave half of the second one white. Share of the rows; our decision.
const WORTH_A_ROW: f64 = 0.15;

/// A beat should be at least this wide, or another row is begun. Points; our decision.
const WIDE_ENOUGH: f64 = 7.0;

/// Questions that fit under the map.
const MOST_QUESTIONS: usize = 8;

/// The map on one sheet, on its side.
pub(super) fn draw(material: &Material<'_>, answers: bool) -> Drawing {
    let dance = material.dance;
    let (height, width) = material.paper.size();
    let mut sheet = Drawing::new(width, height, &format!("{}: listening map", dance.title));
    sheet.about = about(material);
    let trail = Trail::new(&dance.grid, material.heard, dance.recording.length());
    let inner = width - 2.0 * MARGIN;

    sheet.words("title", (MARGIN, MARGIN + 16.0), Setting::bold(22.0), &title(&dance.title, inner));
    let facts = facts::facts(dance);
    let named = facts.iter().filter(|(label, _)| ["Recording", "Performer", "Length"].contains(label));
    let line = named.map(|(_, value)| value.as_str()).collect::<Vec<_>>().join(", ");
    let line = format!("Listening map \u{2013} {line}");
    let line = fitted(&line, Weight::Regular, inner, 1, &[11.0, 9.0]);
    sheet.words("facts", (MARGIN, MARGIN + 32.0), Setting::plain(line.size), &line.lines.concat());

    let foot = questions(&mut sheet, material, answers, inner);
    let rows = rows(material, inner);
    let top = MARGIN + 38.0;
    let room = (foot - top) / rows.len().max(1) as f64;
    // One scale for all rows, so that strides can be compared.
    let longest = rows.iter().map(|row| row.until.0 - row.from.0).fold(1e-3, f64::max);
    let badges = badges(&dance.grid);
    let signs = if answers { Signs::Worded } else { Signs::Blank };
    let mut answered = 0;
    for (index, row) in rows.iter().enumerate() {
        let above = top + index as f64 * room;
        let mut hill = Hill {
            trail: &trail,
            across: Across::Time,
            from: row.from,
            until: row.until,
            left: MARGIN,
            width: inner * (row.until.0 - row.from.0) / longest,
            top: above,
            bottom: above + room - 46.0,
        };
        // Room for the words, or at least for the flags; the hill itself keeps half of the row.
        hill.top += (signs.level() * hill.levels(signs) as f64).clamp(20.0, 0.5 * room) + 4.0;
        phrases(&mut sheet, material, &hill, row, &badges, answers);
        hill.stones(&mut sheet, 9.0);
        hill.landmarks(&mut sheet, signs);
        answered += flags(&mut sheet, material, &hill, answered);
    }
    sheet
}

/// The title, cut to the sheet.
fn title(title: &str, room: f64) -> String {
    fitted(title, Weight::Bold, room, 1, &[22.0]).lines.concat()
}

/// One row of hills: some phrases.
struct Row<'a> {
    from: Seconds,
    until: Seconds,
    spans: Vec<(usize, PhraseSpan<'a>)>,
}

/// The phrases in as few rows as leave each beat its width, as even as may be.
fn rows<'a>(material: &Material<'a>, inner: f64) -> Vec<Row<'a>> {
    let grid = &material.dance.grid;
    let at = |beat: Beat| grid.seconds_at(beat);
    let mut spans: Vec<(usize, PhraseSpan<'a>)> = grid.phrase_spans().enumerate().collect();
    // What comes before the first phrase, or all of it where there are no phrases, is a stretch of its own.
    let first = spans.first().map_or(grid.end(), |(_, span)| span.start);
    let pickup = PhraseSpan { index: 0, letter: "", start: Beat(0.0), end: first };
    if first.0 > 0.0 {
        spans.insert(0, (usize::MAX, pickup));
    }
    let lasts = |span: &PhraseSpan<'_>| at(span.end).since(at(span.start)).0;
    let total: f64 = spans.iter().map(|(_, span)| lasts(span)).sum();
    let shortest = grid.beats().windows(2).map(|pair| pair[1].0 - pair[0].0).fold(f64::INFINITY, f64::min);
    let mut broken: Vec<Spans<'a>> = Vec::new();
    // How much of the rows is filled, and whether each beat has its width.
    let (mut filled, mut wide) = (0.0, false);
    for count in FEWEST_ROWS.min(spans.len().max(1))..=MOST_ROWS {
        // The least length into which the phrases go in that many rows, within a tenth of a second.
        let mut cap =
            (total / count as f64).max(spans.iter().map(|(_, span)| lasts(span)).fold(0.0, f64::max));
        let rows = loop {
            let rows = break_at(&spans, cap, &lasts);
            if rows.len() <= count {
                break rows;
            }
            cap += 0.1;
        };
        let length = |row: &Spans<'a>| row.iter().map(|(_, span)| lasts(span)).sum::<f64>();
        let longest = rows.iter().map(length).fold(1e-3, f64::max);
        let fills = total / (rows.len().max(1) as f64 * longest);
        if wide && fills < filled + WORTH_A_ROW {
            continue;
        }
        wide = shortest * inner / longest >= WIDE_ENOUGH;
        filled = fills;
        broken = rows;
    }
    broken
        .into_iter()
        .filter_map(|spans| {
            let (from, until) = (at(spans.first()?.1.start), at(spans.last()?.1.end));
            Some(Row { from, until, spans })
        })
        .collect()
}

type Spans<'a> = Vec<(usize, PhraseSpan<'a>)>;

/// Phrases in rows no longer than `cap` seconds; a longer phrase has a row of its own.
fn break_at<'a>(spans: &Spans<'a>, cap: f64, lasts: &impl Fn(&PhraseSpan<'_>) -> f64) -> Vec<Spans<'a>> {
    let mut rows: Vec<Spans<'a>> = Vec::new();
    let mut used = f64::INFINITY;
    for &(index, span) in spans {
        if used + lasts(&span) > cap + 1e-6 {
            rows.push(Vec::new());
            used = 0.0;
        }
        used += lasts(&span);
        if let Some(row) = rows.last_mut() {
            row.push((index, span));
        }
    }
    rows
}

/// The ground of each phrase in its colour, and under it its ribbon with its shape and what it is like.
fn phrases(
    sheet: &mut Drawing,
    material: &Material<'_>,
    hill: &Hill<'_>,
    row: &Row<'_>,
    badges: &[Badge<'_>],
    answers: bool,
) {
    let grid = &material.dance.grid;
    for (index, span) in &row.spans {
        let (from, until) = (grid.seconds_at(span.start), grid.seconds_at(span.end));
        let Some(badge) = badges.get(*index) else {
            hill.ground(sheet, from, until, Ink::PALE.tint(0.5));
            continue;
        };
        hill.ground(sheet, from, until, badge.tint());
        let (left, right) = (hill.x(from), hill.x(until));
        let ribbon = hill.bottom + 2.0;
        sheet.shape(
            "phrase",
            Path::rectangle(left + 0.5, ribbon, (right - left - 1.0).max(1.0), 36.0, 3.0),
            Ink::WHITE,
            Pen::solid(Ink::BLACK, 0.8),
        );
        let height = hill.trail.height(Seconds(0.5 * (from.0 + until.0)));
        let radius = 8.0 + 4.0 * height;
        let wide = right - left;
        let x = if wide > 76.0 { left + 20.0 } else { 0.5 * (left + right) };
        badge.draw(sheet, x, ribbon + 18.0, radius, answers);
        if wide > 76.0 {
            let room = wide - 42.0;
            if answers {
                let tempo = grid.tempo_at(Beat(0.5 * (span.start.0 + span.end.0)));
                let words = like::words(material.heard, *index, tempo);
                let lines = fitted(&words, Weight::Regular, room, 3, &[9.0, 8.0]);
                for (line, text) in lines.lines.iter().enumerate() {
                    let y = ribbon + 12.0 + 10.0 * line as f64;
                    sheet.words("like", (left + 38.0, y), Setting::plain(lines.size), text);
                }
            } else {
                for line in 1..=2 {
                    let y = ribbon + 14.0 * f64::from(line) + 2.0;
                    let pen = Pen::dashed(Ink::GREY, 0.6, 1.5, 1.5);
                    sheet.line("blank", (left + 38.0, y), (right - 5.0, y), pen);
                }
            }
        }
    }
}

/// Numbered flags where the questions are asked; returns how many there were.
fn flags(sheet: &mut Drawing, material: &Material<'_>, hill: &Hill<'_>, before: usize) -> usize {
    let grid = &material.dance.grid;
    let mut count = 0;
    for prompt in material.dance.prompts.iter().take(MOST_QUESTIONS) {
        let at = grid.seconds_at(prompt.at);
        if at.0 < hill.from.0 - 1e-6 || at.0 >= hill.until.0 - 1e-6 {
            continue;
        }
        count += 1;
        let (x, y) = (hill.x(at), hill.y(at));
        // In the ground, away from the landmarks' words; over low ground there are none.
        let centre = if hill.bottom - y >= 26.0 { y + 16.0 } else { y - 20.0 };
        sheet.line("flag", (x, y), (x, centre), Pen::solid(Ink::BLACK, 0.9));
        sheet.shape("flag", Path::circle(x, centre, 7.5), Ink::WHITE, Pen::solid(Ink::BLACK, 1.0));
        let number = format!("{}", before + count);
        sheet.words("flag", (x, centre + 3.4), Setting::bold(9.5).middle(), &number);
    }
    count
}

/// The questions and the key at the foot of the sheet; returns where they begin.
fn questions(sheet: &mut Drawing, material: &Material<'_>, answers: bool, inner: f64) -> f64 {
    let bottom = sheet.height - MARGIN;
    let key = "Higher ground: louder. Long stones: slow; short stones: quick; dark stones: a bar begins. Same shape: same music; \
               a second line around it: a variation.";
    let key = fitted(key, Weight::Regular, inner, 1, &[9.0, 8.5, 8.0, 7.0]);
    sheet.words("key", (MARGIN, bottom), Setting::plain(key.size).in_ink(Ink::GREY), &key.lines.concat());
    let prompts: Vec<_> = material.dance.prompts.iter().take(MOST_QUESTIONS).collect();
    let column = 0.5 * (inner - 20.0);
    let rows = prompts.len().div_ceil(2);
    let mut heights = vec![0.0f64; rows];
    let lines: Vec<(Vec<String>, Vec<String>)> = prompts
        .iter()
        .enumerate()
        .map(|(index, prompt)| {
            let asked = wrapped(&format!("{}. {}", index + 1, prompt.question), 10.5, Weight::Bold, column);
            let told = if answers {
                wrapped(&prompt.answer, 10.5, Weight::Regular, column - 14.0)
            } else {
                Vec::new()
            };
            (asked, told)
        })
        .collect();
    for (index, (asked, told)) in lines.iter().enumerate() {
        let high = 13.0 * asked.len() as f64 + if answers { 13.0 * told.len() as f64 } else { 20.0 } + 5.0;
        heights[index / 2] = heights[index / 2].max(high);
    }
    let top = bottom - 14.0 - heights.iter().sum::<f64>();
    for (index, (asked, told)) in lines.iter().enumerate() {
        let x = MARGIN + (index % 2) as f64 * (column + 20.0);
        let mut y = top + heights[..index / 2].iter().sum::<f64>() + 11.0;
        for line in asked {
            sheet.words("question", (x, y), Setting::bold(10.5), line);
            y += 13.0;
        }
        for line in told {
            sheet.words("answer", (x + 14.0, y), Setting::plain(10.5), line);
            y += 13.0;
        }
        if !answers {
            sheet.line(
                "blank",
                (x + 14.0, y + 6.0),
                (x + column, y + 6.0),
                Pen::dashed(Ink::GREY, 0.6, 1.5, 1.5),
            );
        }
    }
    top - 6.0
}

/// The map in a sentence, for whoever cannot see it.
fn about(material: &Material<'_>) -> String {
    let letters: Vec<&str> =
        material.dance.grid.phrases().iter().map(|phrase| phrase.letter.as_str()).collect();
    let turns = material.heard.map_or(0, |heard| heard.turns.len());
    format!("The piece as a path over hills. Phrases: {}. Changes of the music: {turns}.", letters.join(", "))
}
