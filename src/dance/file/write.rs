//! Writing: fixed key order, one cue a line, eight beats a line, numbers without noise.

use crate::dance::Dance;
use crate::grid::Grid;
use crate::units::{Beat, Counts};
use serde::Serialize;
use serde_json::Value;
use serde_json::ser::{CompactFormatter, Formatter, Serializer};
use std::io::{self, Write};

/// Beats, or bar starts, on one line.
const ROW: usize = 8;

/// The dance as it is saved and read back: cues and prompts by position, moves by identifier, positions and
/// spans rounded to a thousandth of a count. Equal positions keep their order.
#[must_use]
pub fn canonical(dance: &Dance) -> Dance {
    let mut dance = dance.clone();
    for cue in &mut dance.cues {
        cue.at = Beat(round(cue.at.0, 1e3));
        cue.counts = Counts(round(cue.counts.0, 1e3));
        cue.lead = cue.lead.map(|lead| Counts(round(lead.0, 1e3)));
    }
    for prompt in &mut dance.prompts {
        prompt.at = Beat(round(prompt.at.0, 1e3));
    }
    for silenced in &mut dance.silenced {
        silenced.at = silenced.at.map(|at| Beat(round(at.0, 1e3)));
    }
    dance.cues.sort_by(|a, b| a.at.total_cmp(&b.at));
    dance.prompts.sort_by(|a, b| a.at.total_cmp(&b.at));
    dance.moves.sort_by(|a, b| a.id.cmp(&b.id));
    dance
}

/// The text of a dance, with a trailing line break. Equal dances give equal bytes.
///
/// Numbers are rounded: positions and spans in counts to three decimals, all others to four. A number that is
/// not finite has no form in JSON and is written as 0. Fields that this program does not know are written as they
/// were read.
#[must_use]
pub fn to_json(dance: &Dance) -> String {
    let dance = canonical(dance);
    let mut fields = vec![
        ("schema".to_owned(), dance.schema.to_string()),
        ("title".to_owned(), inline(&dance.title)),
        ("recording".to_owned(), block(&dance.recording, 2)),
        ("profile".to_owned(), inline(&dance.profile)),
    ];
    if !dance.notes.is_empty() {
        fields.push(("notes".to_owned(), inline(&dance.notes)));
    }
    fields.extend([
        ("grid".to_owned(), grid(&dance.grid)),
        ("anchors".to_owned(), lines(dance.anchors.iter().map(inline), 2)),
        ("moves".to_owned(), lines(dance.moves.iter().map(|entry| block(entry, 4)), 2)),
        ("cues".to_owned(), lines(dance.cues.iter().map(inline), 2)),
        ("prompts".to_owned(), lines(dance.prompts.iter().map(inline), 2)),
        ("silenced".to_owned(), lines(dance.silenced.iter().map(inline), 2)),
    ]);
    fields.extend(dance.unknown.iter().map(|(key, value)| (key.clone(), exact(value))));
    let fields: Vec<String> =
        fields.iter().map(|(key, value)| format!("  {}: {value}", inline(key))).collect();
    format!("{{\n{}\n}}\n", fields.join(",\n"))
}

/// Beats in rows of eight, phrases one a line.
fn grid(grid: &Grid) -> String {
    let beats: Vec<String> = grid.beats().iter().map(|beat| number(beat.0)).collect();
    let bars: Vec<String> = grid.bars().iter().map(usize::to_string).collect();
    let rows = |numbers: &[String]| lines(numbers.chunks(ROW).map(|row| row.join(", ")), 4);
    let phrases = lines(grid.phrases().iter().map(inline), 4);
    format!(
        "{{\n    \"beats\": {},\n    \"bars\": {},\n    \"phrases\": {phrases}\n  }}",
        rows(&beats),
        rows(&bars)
    )
}

/// An array with one item a line; `indent` is that of the line on which it opens.
fn lines(items: impl Iterator<Item = String>, indent: usize) -> String {
    let pad = " ".repeat(indent);
    let items: Vec<String> = items.map(|item| format!("{pad}  {item}")).collect();
    if items.is_empty() { "[]".to_owned() } else { format!("[\n{}\n{pad}]", items.join(",\n")) }
}

/// A value on one line, with spaces after commas and colons.
fn inline<T: Serialize + ?Sized>(value: &T) -> String {
    text(value, Layout { block: None, depth: 0, tidy: true })
}

/// A value that this program does not know: on one line, its numbers untouched.
pub(in crate::dance) fn exact(value: &Value) -> String {
    text(value, Layout { block: None, depth: 0, tidy: false })
}

/// An object with one field a line and everything deeper inline; `indent` is that of the line on which it opens.
fn block<T: Serialize>(value: &T, indent: usize) -> String {
    text(value, Layout { block: Some(indent), depth: 0, tidy: true })
}

fn text<T: Serialize + ?Sized>(value: &T, layout: Layout) -> String {
    let mut bytes = Vec::new();
    // Writing to memory cannot fail, and neither can plain data with string keys.
    match value.serialize(&mut Serializer::with_formatter(&mut bytes, layout)) {
        Ok(()) => String::from_utf8_lossy(&bytes).into_owned(),
        Err(_) => "null".to_owned(),
    }
}

/// A number with at most four decimals, without a trailing zero; whole numbers without a point.
fn number(value: f64) -> String {
    round(value, 1e4).to_string()
}

/// `value` rounded to a multiple of 1/`per_unit`, never minus zero; huge and non-finite values stay as they are.
fn round(value: f64, per_unit: f64) -> f64 {
    let scaled = (value * per_unit).round();
    if scaled.is_finite() && scaled.abs() < 9e15 { scaled / per_unit + 0.0 } else { value }
}

/// How serde's JSON is laid out.
struct Layout {
    /// Put the fields of the outermost object on lines of their own, indented from here.
    block: Option<usize>,
    /// How many objects are open.
    depth: usize,
    /// Round numbers; a null can then only be a number that is not finite, since empty fields are left out.
    tidy: bool,
}

impl Layout {
    /// The line break before a field (`extra` 2) or the closing brace (`extra` 0) of a block; nothing inside a line.
    fn break_line<W: Write + ?Sized>(&self, writer: &mut W, extra: usize) -> io::Result<bool> {
        match self.block {
            Some(indent) if self.depth == 1 => {
                write!(writer, "\n{:1$}", "", indent + extra)?;
                Ok(true)
            }
            _ => Ok(false),
        }
    }
}

impl Formatter for Layout {
    fn write_f64<W: Write + ?Sized>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        if self.tidy {
            writer.write_all(number(value).as_bytes())
        } else {
            CompactFormatter.write_f64(writer, value)
        }
    }

    fn write_null<W: Write + ?Sized>(&mut self, writer: &mut W) -> io::Result<()> {
        writer.write_all(if self.tidy { b"0" } else { b"null" })
    }

    fn begin_object<W: Write + ?Sized>(&mut self, writer: &mut W) -> io::Result<()> {
        self.depth += 1;
        writer.write_all(b"{")
    }

    fn end_object<W: Write + ?Sized>(&mut self, writer: &mut W) -> io::Result<()> {
        self.break_line(writer, 0)?;
        self.depth -= 1;
        writer.write_all(b"}")
    }

    fn begin_object_key<W: Write + ?Sized>(&mut self, writer: &mut W, first: bool) -> io::Result<()> {
        if !first {
            writer.write_all(b",")?;
        }
        if !self.break_line(writer, 2)? && !first {
            writer.write_all(b" ")?;
        }
        Ok(())
    }

    fn begin_object_value<W: Write + ?Sized>(&mut self, writer: &mut W) -> io::Result<()> {
        writer.write_all(b": ")
    }

    fn begin_array_value<W: Write + ?Sized>(&mut self, writer: &mut W, first: bool) -> io::Result<()> {
        writer.write_all(if first { b"" } else { b", " })
    }
}
