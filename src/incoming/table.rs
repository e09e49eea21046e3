//! Beats in tables as programs write them: a time a line, alone or with more columns, with or without a head, parted by
//! commas, tabs, semicolons or blanks. What is ours keeps to RFC 4180; what others write keeps to nothing.

use super::{Form, Incoming, Mark, Refusal, gathered, without_empty_bars};

/// The most beats in a bar that a column of positions may count to.
const MOST_IN_A_BAR: f64 = 16.0;
/// The longest piece of a line that is shown in a sentence.
const SHOWN: usize = 30;

/// One line: its number from 1, and its cells.
struct Line {
    number: usize,
    cells: Vec<String>,
}

/// Which columns are read.
#[derive(Default)]
struct Columns {
    time: usize,
    /// A thousandth for milliseconds, else 1.
    scale: f64,
    position: Option<usize>,
    bar: Option<usize>,
    downbeat: Option<usize>,
    phrase: Option<usize>,
    letter: Option<usize>,
}

/// Reads a table.
pub(super) fn read(text: &str) -> Result<Incoming, Refusal> {
    let kept: Vec<(usize, &str)> = text
        .lines()
        .enumerate()
        .map(|(index, line)| (index + 1, line))
        .filter(|(_, line)| !line.trim().is_empty() && !line.trim_start().starts_with(['#', '%']))
        .collect();
    let mark = parted_by(&kept);
    let comma = matches!(mark, Some(';' | '\t' | ' '));
    let lines = kept.iter().map(|&(number, line)| Line { number, cells: cells(line, mark) });
    let mut lines: Vec<Line> = lines.collect();
    if mark == Some(',') && decimal_commas(&lines) {
        for line in &mut lines {
            line.cells = vec![line.cells.join(".")];
        }
    }
    let head = lines.first().filter(|line| line.cells.iter().all(|cell| seconds(cell, comma).is_none()));
    let columns = match head {
        Some(head) => named(&head.cells).ok_or_else(|| Refusal::NoTimeColumn {
            columns: cut(
                &head.cells.iter().map(|cell| format!("'{cell}'")).collect::<Vec<_>>().join(", "),
                80,
            ),
        })?,
        None => guessed(&lines, comma),
    };
    let body = if head.is_some() { &lines[1..] } else { &lines[..] };
    let mut marks: Vec<Mark> = Vec::with_capacity(body.len());
    let mut last: (Option<&str>, Option<&str>) = (None, None);
    for line in body {
        let cell = |column: Option<usize>| {
            column
                .and_then(|column| line.cells.get(column))
                .map(String::as_str)
                .filter(|cell| !cell.is_empty())
        };
        let at = cell(Some(columns.time)).and_then(|cell| seconds(cell, comma));
        let at =
            at.ok_or_else(|| Refusal::NoTime { line: line.number, text: cut(&line.cells.join(" "), SHOWN) })?;
        let at = at * columns.scale;
        if let Some(before) = marks.last().map(|mark| mark.at).filter(|before| *before > at) {
            return Err(Refusal::Back { line: line.number, before, at });
        }
        let (bar, phrase) = (cell(columns.bar), cell(columns.phrase));
        let first = match (cell(columns.downbeat), cell(columns.position)) {
            (Some(downbeat), _) => Some(!matches!(downbeat, "0" | "false" | "no")),
            (None, Some(position)) => in_bar(position).map(|place| place == 1.0),
            (None, None) => bar.map(|_| bar != last.0),
        };
        let begins = phrase.filter(|_| phrase != last.1);
        let letter = begins.map(|_| cell(columns.letter).unwrap_or("").to_owned());
        last = (bar, phrase);
        marks.push(Mark { at, bar: first, phrase: letter });
    }
    // Numbered bars may well have one beat each.
    if columns.bar.is_none() {
        without_empty_bars(&mut marks);
    }
    gathered(Form::Table, marks, Vec::new())
}

/// What parts the cells: what most lines have, the rarer signs first, since a comma may stand in a number.
fn parted_by(lines: &[(usize, &str)]) -> Option<char> {
    let most =
        |sign: char| 2 * lines.iter().filter(|(_, line)| line.trim().contains(sign)).count() > lines.len();
    ['\t', ';', ',', ' '].into_iter().find(|sign| most(*sign))
}

/// The cells of a line; a cell may stand in quotes, in which a quote is doubled (RFC 4180).
fn cells(line: &str, mark: Option<char>) -> Vec<String> {
    let Some(mark) = mark else { return vec![line.trim().trim_matches('"').to_owned()] };
    if mark == ' ' {
        return line.split_whitespace().map(str::to_owned).collect();
    }
    let (mut found, mut cell, mut quoted) = (Vec::new(), String::new(), false);
    let mut rest = line.trim_end_matches(['\r', '\n']).chars().peekable();
    while let Some(sign) = rest.next() {
        match sign {
            '"' if quoted && rest.peek() == Some(&'"') => cell.extend(rest.next()),
            '"' => quoted = !quoted,
            sign if sign == mark && !quoted => found.push(std::mem::take(&mut cell).trim().to_owned()),
            sign => cell.push(sign),
        }
    }
    found.push(cell.trim().to_owned());
    found
}

/// Whether the commas stand in the numbers: two whole numbers a line, the first of which does not ascend by itself.
fn decimal_commas(lines: &[Line]) -> bool {
    let whole = |cell: &String| !cell.is_empty() && cell.chars().all(|sign| sign.is_ascii_digit());
    let pairs = lines.iter().all(|line| line.cells.len() == 2 && line.cells.iter().all(whole));
    let number = |text: &str| text.parse::<f64>().unwrap_or(f64::NAN);
    let ascend = |of: &dyn Fn(&Line) -> f64| lines.windows(2).all(|pair| of(&pair[0]) < of(&pair[1]));
    pairs && !ascend(&|line| number(&line.cells[0])) && ascend(&|line| number(&line.cells.join(".")))
}

/// A time in seconds: `12.5`, `12,5` where commas may be decimal, `1:02.5`.
fn seconds(cell: &str, comma: bool) -> Option<f64> {
    let text = if comma { cell.replace(',', ".") } else { cell.to_owned() };
    let mut total = 0.0;
    let parts: Vec<&str> = text.split(':').collect();
    for (index, part) in parts.iter().enumerate() {
        let plain =
            part.chars().all(|sign| sign.is_ascii_digit() || matches!(sign, '.' | '-' | '+' | 'e' | 'E'));
        let number = part.parse::<f64>().ok().filter(|number| plain && number.is_finite())?;
        if index > 0 && !(0.0..60.0).contains(&number) {
            return None;
        }
        total = 60.0 * total + number;
    }
    (parts.len() <= 3).then_some(total)
}

/// The columns of a head that has one for the time.
fn named(head: &[String]) -> Option<Columns> {
    let head: Vec<String> =
        head.iter().map(|name| name.to_lowercase().replace(['_', '-'], " ").trim().to_owned()).collect();
    let find = |names: &[&str]| names.iter().find_map(|name| head.iter().position(|column| column == name));
    let thousandths = find(&["ms", "milliseconds", "time ms", "time (ms)", "time [ms]"]);
    let time = find(&[
        "seconds",
        "time",
        "time s",
        "time (s)",
        "time [s]",
        "time (seconds)",
        "time in seconds",
        "beat time",
        "onset",
        "onset time",
        "start",
        "start time",
        "timestamp",
        "secs",
        "sec",
        "s",
        "t",
    ]);
    let time = time.or(thousandths)?;
    let position = find(&[
        "beat in bar",
        "position",
        "beat position",
        "metrical position",
        "position in bar",
        "beat number",
        "beatnumber",
        "beat in measure",
    ]);
    Some(Columns {
        time,
        scale: if Some(time) == thousandths { 1e-3 } else { 1.0 },
        position,
        bar: find(&["bar", "measure", "bar number", "measure number"]),
        downbeat: find(&["downbeat", "is downbeat", "bar start"]),
        phrase: find(&["phrase"]),
        letter: find(&["letter"]),
    })
}

/// The columns of a table without a head: the time first; then the place in the bar, if one column counts like one.
fn guessed(lines: &[Line], comma: bool) -> Columns {
    let columns = lines.iter().map(|line| line.cells.len()).min().unwrap_or(0);
    let place = |column: usize| -> bool {
        let places: Option<Vec<f64>> = lines.iter().map(|line| in_bar(&line.cells[column])).collect();
        // A step on, or back to one: what counts, counts so.
        places.is_some_and(|places| {
            places.iter().filter(|place| **place == 1.0).count() > 1
                && places.windows(2).all(|pair| pair[1] == pair[0] + 1.0 || pair[1] == 1.0)
        })
    };
    let time = usize::from(columns > 1 && !lines.iter().all(|line| seconds(&line.cells[0], comma).is_some()));
    Columns {
        time,
        scale: 1.0,
        position: (time + 1..columns).find(|column| place(*column)),
        ..Columns::default()
    }
}

/// The place in the bar: `3`, or the last part of `12.3` and `12:3` (bar and beat).
fn in_bar(cell: &str) -> Option<f64> {
    let whole = |text: &str| {
        let number = text.parse::<f64>().ok().filter(|number| number.fract() == 0.0)?;
        (1.0..=MOST_IN_A_BAR).contains(&number).then_some(number)
    };
    whole(cell).or_else(|| {
        let (bar, beat) = cell.split_once(['.', ':'])?;
        bar.parse::<u32>().ok()?;
        whole(beat)
    })
}

/// The head of a text, with three dots if it goes on.
fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most).chain("...".chars()).collect()
}
