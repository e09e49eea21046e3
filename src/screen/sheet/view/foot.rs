//! Under the paper: what is known of the place she is at, and the keys that matter now.

use super::{cut, line, pieces, rows, wrap};
use crate::check::Severity;
use crate::screen::colours::Ink;
use crate::screen::sheet::keys::{Action, KEYS};
use crate::screen::sheet::layout::mark;
use crate::screen::sheet::state::Sheet;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

/// First steps, shown one after the other until each was done once.
const HINTS: &[&str] = &[
    "first steps: go to a count with the arrows, then enter, and a few letters of a move",
    "+ makes it longer and - shorter; u takes anything back",
    "space plays from here, and stops; r lets a phrase go round and round",
];

pub(super) fn foot(sheet: &Sheet, area: Rect, buffer: &mut Buffer) {
    let Some(last) = area.height.checked_sub(1) else { return };
    keys(sheet, rows(area, last, 1), buffer);
    if area.height >= 3 {
        place(sheet, rows(area, 0, 1), buffer);
        said(sheet, rows(area, 1, area.height - 2), buffer);
    }
}

/// What stands on this count, and the state of things.
fn place(sheet: &Sheet, area: Rect, buffer: &mut Buffer) {
    let quiet = sheet.palette.style(Ink::Quiet);
    let state = state(sheet);
    let wide = u16::try_from(state.width()).unwrap_or(u16::MAX);
    let room = if wide + 20 <= area.width {
        let right = Rect { x: area.right() - wide, width: wide, ..area };
        line(buffer, right, &state, sheet.palette.style(Ink::Mark));
        area.width - wide - 2
    } else {
        area.width
    };
    line(buffer, Rect { width: room, ..area }, &cut(&format!(" {}", about(sheet)), room), quiet);
}

fn about(sheet: &Sheet) -> String {
    let prompt = sheet.prompt_here().and_then(|index| sheet.dance.prompts.get(index));
    let mut words = Vec::new();
    if let Some(cue) = sheet.cue_here().and_then(|index| sheet.cue(index)) {
        let counts = (cue.counts.0 * 100.0).round() / 100.0;
        let plural = if counts == 1.0 { "" } else { "s" };
        words.push(format!("{}: {counts} count{plural}", sheet.dance.words_of(cue)));
        if let Some(lead) = cue.lead {
            words.push(format!("called {} counts early", lead.0));
        }
        if let Some(entry) = sheet.dance.move_of(cue) {
            words.push(format!("seated: {}", entry.seated.words));
            words.push(format!("low impact: {}", entry.low_impact.words));
        }
    } else {
        words.push("nothing pinned here".to_owned());
    }
    if let Some(prompt) = prompt {
        let answer = if prompt.answer.is_empty() { "no answer" } else { &prompt.answer };
        words.insert(0, format!("? {} ({answer})", prompt.question));
    }
    words.join("   ")
}

fn state(sheet: &Sheet) -> String {
    let mut words = Vec::new();
    if sheet.read_only.is_some() {
        words.push(if sheet.free { "free again" } else { "only to look at" }.to_owned());
    }
    let sound = sheet.sound_words();
    if !sound.is_empty() {
        words.push(sound);
    }
    if sheet.round {
        words.push("round".into());
    }
    if sheet.clicks {
        words.push("clicks".into());
    }
    if sheet.speed.in_percent() != 100 {
        words.push(format!("{} %", sheet.speed.in_percent()));
    }
    if let Some(report) = &sheet.report {
        let number = |severity, word: &str| match report.count(severity) {
            0 => None,
            1 => Some(format!("1 {word}")),
            many => Some(format!("{many} {word}s")),
        };
        let counts = [number(Severity::Problem, "problem"), number(Severity::Warning, "warning")];
        words.extend(counts.into_iter().flatten());
    }
    let all = words.join(", ");
    if all.is_empty() { all } else { format!("{all} ") }
}

/// The most important thing there is to say.
fn said(sheet: &Sheet, area: Rect, buffer: &mut Buffer) {
    // What a key does about it, which is never cut off.
    let mut way = String::new();
    let (ink, text) = if let Some(trouble) = &sheet.trouble {
        (Ink::Mark, trouble.clone())
    } else if let Some((notice, _)) = &sheet.notice {
        (Ink::Now, notice.clone())
    } else if let Some(why) = sheet.read_only.as_ref().filter(|_| sheet.free) {
        (Ink::Now, why.clone())
    } else if let Some(finding) = sheet.finding_here() {
        way = if finding.fix.is_some() { " (f fixes it so, i ignores it)" } else { " (i ignores it)" }.into();
        (Ink::Mark, format!("{} {} {}", mark(finding.severity), finding.message, finding.remedy))
    } else if let Some(hint) = HINTS.get(sheet.hint).filter(|_| sheet.read_only.is_none()) {
        // Before the reasons of a draft, which stand on every count of it: the hint goes once it was followed.
        (Ink::Quiet, (*hint).to_owned())
    } else if let Some(why) =
        sheet.cue_here().and_then(|index| sheet.cue(index)).and_then(|cue| cue.why.as_ref())
    {
        (Ink::Quiet, format!("why: {why}"))
    } else {
        return;
    };
    let width = area.width.saturating_sub(2);
    let mut lines = wrap(&format!("{text}{way}"), width);
    let fits = usize::from(area.height);
    if lines.len() > fits && fits > 0 {
        lines = wrap(&text, width);
        lines.truncate(fits);
        if let Some(last) = lines.last_mut() {
            let room = width.saturating_sub(u16::try_from(way.width()).unwrap_or(u16::MAX));
            *last = cut(&format!("{last} …"), room) + &way;
        }
    }
    for (row, text) in (0..area.height).zip(&lines) {
        line(buffer, rows(area, row, 1), &format!(" {text}"), sheet.palette.style(ink));
    }
}

fn keys(sheet: &Sheet, area: Rect, buffer: &mut Buffer) {
    let word = |action: &Action| {
        let binding = KEYS.iter().find(|binding| binding.action == *action)?;
        let word = match action {
            Action::Play if sheet.heard.playing => "stop",
            Action::Round if sheet.round => "go on",
            _ => binding.short?,
        };
        Some((binding.name, word))
    };
    let shown: Vec<(&str, &str)> = wanted_now(sheet).iter().filter_map(word).collect();
    // The help and leaving are never left out.
    let last: Vec<(&str, &str)> = [Action::Help, Action::Leave].iter().filter_map(word).collect();
    write_keys(sheet, &shown, &last, area, buffer);
}

/// What is likely to be wanted where she is, the likeliest first.
fn wanted_now(sheet: &Sheet) -> &'static [Action] {
    use Action as A;
    if sheet.heard.playing {
        &[A::Play, A::Heard, A::Round, A::Clicks, A::ThreeQuarters, A::Half, A::Full, A::Pin, A::Undo]
    } else if sheet.free {
        &[A::TakeOver, A::Play, A::Round, A::NextTurn, A::Clicks, A::ThreeQuarters, A::Half, A::Full]
    } else if sheet.read_only.is_some() {
        &[A::Play, A::Round, A::NextTurn, A::NextFinding, A::Clicks, A::ThreeQuarters, A::Half, A::Full]
    } else if sheet.anchor.is_some() {
        &[A::Pin, A::RubOut, A::Copy, A::Mirror, A::Round, A::LetGo, A::Undo, A::PutDown, A::Words]
    } else if sheet.visited.is_some() {
        &[A::NextFinding, A::Mend, A::Ignore, A::Pin, A::Undo, A::Play, A::Longer, A::RubOut]
    } else if sheet.cue_here().is_some() {
        CUE
    } else if sheet.copied.is_some() {
        &[
            A::Pin,
            A::PutDown,
            A::Words,
            A::Play,
            A::Undo,
            A::Prompt,
            A::AsIn,
            A::Repair,
            A::NextTurn,
            A::Round,
        ]
    } else {
        &[A::Pin, A::Words, A::Prompt, A::Play, A::Undo, A::AsIn, A::Repair, A::NextTurn, A::Round]
    }
}

/// The same on a cue.
const CUE: &[Action] = {
    use Action as A;
    &[
        A::Pin,
        A::Longer,
        A::RubOut,
        A::Play,
        A::Undo,
        A::Shorter,
        A::Later,
        A::Side,
        A::Words,
        A::Split,
        A::Copy,
        A::PutDown,
        A::Repair,
        A::AsIn,
        A::Prompt,
        A::NextFinding,
        A::Round,
    ]
};

/// Keys with a word each: as many of the first as leave room for the last.
pub(super) fn write_keys(
    sheet: &Sheet,
    first: &[(&str, &str)],
    last: &[(&str, &str)],
    area: Rect,
    buffer: &mut Buffer,
) {
    let wide = |keys: &[(&str, &str)]| -> usize {
        keys.iter().map(|(key, word)| key.width() + word.width() + 4).sum()
    };
    let mut kept = first.len();
    while kept > 0 && wide(&first[..kept]) + wide(last) > usize::from(area.width) + 2 {
        kept -= 1;
    }
    let (key, word) = (sheet.palette.style(Ink::Next), sheet.palette.style(Ink::Quiet));
    let words: Vec<(String, Style)> = first[..kept]
        .iter()
        .chain(last)
        .flat_map(|(name, text)| [(format!(" {name}"), key), (format!(" {text}  "), word)])
        .collect();
    let words: Vec<(&str, Style)> = words.iter().map(|(text, style)| (text.as_str(), *style)).collect();
    pieces(buffer, area, &words);
}
