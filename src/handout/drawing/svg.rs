//! A drawing as SVG 1.1: words stay words, so that they can be searched, read aloud and translated.

use super::face::FAMILY;
use super::path::Leg;
use super::{Anchor, Drawing, Ink, Mark, Path, Pen, Weight};
use crate::handout::markup::escaped;
use std::fmt::Write;

/// The whole file, lengths in points. Ends with a newline.
pub(in crate::handout) fn svg(drawing: &Drawing) -> String {
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}", inner_svg(drawing, "drawing"))
}

/// The element alone, for a page that holds it; `id` must be unique there. Ends with a newline.
pub(in crate::handout) fn inner_svg(drawing: &Drawing, id: &str) -> String {
    let mut out = String::new();
    let (width, height) = (number(drawing.width), number(drawing.height));
    // Writing into a string cannot fail, so the results are let go here and below.
    let _ = write!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}pt\" height=\"{height}pt\" viewBox=\"0 0 {width} {height}\" \
         role=\"img\" aria-labelledby=\"{id}-title {id}-about\" font-family=\"{FAMILY}\">\n\
         <title id=\"{id}-title\">{}</title>\n<desc id=\"{id}-about\">{}</desc>\n",
        escaped(&drawing.title),
        escaped(&drawing.about)
    );
    for mark in &drawing.marks {
        out.push_str(&element(mark));
    }
    out.push_str("</svg>\n");
    out
}

fn element(mark: &Mark) -> String {
    match mark {
        Mark::Shape { role, path, fill, pen } => {
            let fill = fill.map_or_else(|| "none".to_owned(), colour);
            let pen = pen.map_or_else(String::new, |pen| line(&pen));
            format!("<path class=\"{role}\" d=\"{}\" fill=\"{fill}\"{pen}/>\n", outline(path))
        }
        Mark::Words { role, at, setting, text } => {
            let mut more = String::new();
            if setting.weight == Weight::Bold {
                more.push_str(" font-weight=\"bold\"");
            }
            match setting.anchor {
                Anchor::Start => {}
                Anchor::Middle => more.push_str(" text-anchor=\"middle\""),
                Anchor::End => more.push_str(" text-anchor=\"end\""),
            }
            if setting.ink != Ink::BLACK {
                let _ = write!(more, " fill=\"{}\"", colour(setting.ink));
            }
            format!(
                "<text class=\"{role}\" x=\"{}\" y=\"{}\" font-size=\"{}\"{more}>{}</text>\n",
                number(at.0),
                number(at.1),
                number(setting.size),
                escaped(text)
            )
        }
    }
}

fn line(pen: &Pen) -> String {
    let dash = pen.dash.map_or_else(String::new, |(dash, gap)| {
        format!(" stroke-dasharray=\"{} {}\"", number(dash), number(gap))
    });
    format!(
        " stroke=\"{}\" stroke-width=\"{}\" stroke-linejoin=\"round\"{dash}",
        colour(pen.ink),
        number(pen.width)
    )
}

fn outline(path: &Path) -> String {
    let mut out = String::new();
    for leg in &path.0 {
        let (letter, numbers): (char, &[f64]) = match leg {
            Leg::Move(x, y) => ('M', &[*x, *y]),
            Leg::Line(x, y) => ('L', &[*x, *y]),
            Leg::Curve(a, b, c, d, x, y) => ('C', &[*a, *b, *c, *d, *x, *y]),
            Leg::Close => ('Z', &[]),
        };
        out.push(letter);
        out.push_str(&numbers.iter().map(|&value| number(value)).collect::<Vec<_>>().join(" "));
    }
    out
}

fn colour(ink: Ink) -> String {
    format!("#{:02x}{:02x}{:02x}", ink.0, ink.1, ink.2)
}

/// A length with at most two decimals (under a hundredth of a millimetre), without needless zeros; 0 for no number.
fn number(value: f64) -> String {
    let rounded = if value.is_finite() { (value * 100.0).round() / 100.0 } else { 0.0 };
    format!("{}", rounded + 0.0)
}
