//! What the pencil does in one stroke: longer, later, split, rubbed out, mirrored, handed on, mended.

use super::keys::Action;
use super::modes::Effect;
use super::state::Sheet;
use super::typing::place_for;
use super::update::{go, stepped, turn};
use crate::check::{Fix, counts};
use crate::dance::Side;
use crate::dance::edit::{Command, Over, Stretch};
use crate::units::{Beat, Counts};

/// Makes one change at the cursor, or says why there is none to make.
pub(super) fn edit(sheet: &mut Sheet, action: Action) -> Vec<Effect> {
    match action {
        Action::RubOut => return rub_out(sheet),
        Action::Mirror => return mirror(sheet),
        Action::HandOn => return hand_on(sheet),
        Action::Copy => return copy(sheet),
        Action::PutDown => return put_down(sheet),
        Action::Mend => return mend(sheet),
        _ => {}
    }
    let Some((index, cue)) = sheet.cue_here().and_then(|index| Some((index, sheet.cue(index)?.clone())))
    else {
        sheet.say("no cue on this count; enter pins one");
        return Vec::new();
    };
    let over = Over::Erase;
    match action {
        Action::Longer | Action::Shorter => {
            let end = stepped(sheet, cue.end(), action == Action::Longer);
            let counts = end.since(cue.at);
            let effects = sheet.perform(&Command::StretchCue { cue: index, counts, over });
            keep_inside(sheet, index);
            effects
        }
        Action::Later | Action::Earlier => {
            let to = stepped(sheet, cue.at, action == Action::Later);
            let moved = sheet.cursor.0 - cue.at.0;
            let effects = sheet.perform(&Command::MoveCue { cue: index, to, over });
            if !effects.is_empty() {
                // The cursor goes along, on the same count of the cue.
                go(sheet, Beat(to.0 + moved));
            }
            effects
        }
        Action::EndAtTurn => match turn(sheet, true) {
            Some(at) => sheet.perform(&Command::StretchCue { cue: index, counts: at.since(cue.at), over }),
            None => no_turn(sheet),
        },
        Action::ToTurn => match turn(sheet, true) {
            Some(to) => {
                let effects = sheet.perform(&Command::MoveCue { cue: index, to, over });
                if !effects.is_empty() {
                    go(sheet, to);
                }
                effects
            }
            None => no_turn(sheet),
        },
        Action::Split => sheet.perform(&Command::SplitCue { cue: index, at: sheet.cursor }),
        Action::Join => sheet.perform(&Command::JoinCue { cue: index }),
        Action::Side => {
            let side = match cue.side {
                None => Some(Side::Left),
                Some(Side::Left) => Some(Side::Right),
                Some(Side::Right) => None,
            };
            sheet.perform(&Command::SetSide { cue: index, side })
        }
        _ => Vec::new(),
    }
}

fn no_turn(sheet: &mut Sheet) -> Vec<Effect> {
    sheet.say(if sheet.listening.is_none() {
        "nothing is known of the music's turns yet"
    } else {
        "the music does not turn again after this"
    });
    Vec::new()
}

/// A cue that became shorter than to the cursor takes the cursor along.
fn keep_inside(sheet: &mut Sheet, index: usize) {
    if let Some(cue) = sheet.cue(index)
        && sheet.cursor.0 > cue.end().0 - 1e-6
    {
        let last = Beat((cue.end().0 - 1e-6).floor().max(cue.at.0));
        go(sheet, last);
    }
}

fn rub_out(sheet: &mut Sheet) -> Vec<Effect> {
    if sheet.anchor.is_some() {
        let selection = sheet.selection();
        sheet.anchor = None;
        return sheet.perform(&Command::Erase { from: selection.from, to: selection.to });
    }
    match (sheet.cue_here(), sheet.prompt_here()) {
        (Some(cue), _) => sheet.perform(&Command::RemoveCue { cue }),
        (None, Some(prompt)) => sheet.perform(&Command::RemovePrompt { prompt }),
        (None, None) => {
            sheet.say("nothing on this count to rub out");
            Vec::new()
        }
    }
}

fn mirror(sheet: &mut Sheet) -> Vec<Effect> {
    let selected = sheet.anchor.is_some().then(|| sheet.selection()).map(|ends| (ends.from, ends.to));
    let phrase = sheet.phrase_here().map(|span| (span.start, span.end));
    let (from, to) = selected.or(phrase).unwrap_or((Beat(0.0), sheet.dance.grid.end()));
    sheet.perform(&Command::Mirror { from, to })
}

/// Into every other phrase whose letter is the same, dashes aside: A and A' are danced alike until she varies them.
fn hand_on(sheet: &mut Sheet) -> Vec<Effect> {
    let Some(here) = sheet.phrase_here() else {
        sheet.say("this count is before the first phrase; go to a phrase to hand on");
        return Vec::new();
    };
    let plain = |letter: &str| letter.trim_end_matches(['\'', '’', '′']).to_owned();
    let (phrase, letter) = (here.index, plain(here.letter));
    let into: Vec<usize> = sheet
        .dance
        .grid
        .phrase_spans()
        .filter(|span| span.index != phrase && plain(span.letter) == letter)
        .map(|span| span.index)
        .collect();
    if into.is_empty() {
        sheet.say(format!("no other phrase is called {letter}; a writes it into one phrase"));
        return Vec::new();
    }
    let names: Vec<String> = into.iter().map(|index| (index + 1).to_string()).collect();
    let effects = sheet.perform(&Command::RepeatPhrase { phrase, into, mirror: false });
    if !effects.is_empty() {
        let plural = if names.len() == 1 { "" } else { "s" };
        sheet.say(format!("phrase {} is now danced in phrase{plural} {} too", phrase + 1, names.join(", ")));
    }
    effects
}

/// Takes a copy of what is selected, else of the cue under the cursor.
fn copy(sheet: &mut Sheet) -> Vec<Effect> {
    let selected = sheet.anchor.is_some();
    let copied = if selected {
        let ends = sheet.selection();
        Stretch::between(&sheet.dance, ends.from, ends.to)
    } else {
        sheet.cue_here().and_then(|index| Stretch::cue(&sheet.dance, index))
    };
    match copied {
        Some(stretch) => {
            let name = stretch.name();
            sheet.say(format!(
                "{name} copied, {}: go to a count, and ) puts it down",
                counts(stretch.counts())
            ));
            sheet.copied = Some(stretch);
            sheet.anchor = None;
        }
        None if selected => sheet.say("no move on these counts, so there is nothing to copy"),
        None => {
            sheet.say("no cue on this count to copy; go to one, or select counts with shift and the arrows")
        }
    }
    Vec::new()
}

/// Puts the copy down. A single cue takes the place that a new one would, so that no neighbour is touched unasked; several
/// are written over what stands there, as a phrase is.
fn put_down(sheet: &mut Sheet) -> Vec<Effect> {
    let Some(stretch) = sheet.copied.clone() else {
        sheet.say("nothing was copied yet: on a cue, or with counts selected, ( copies");
        return Vec::new();
    };
    let (at, room) = if stretch.is_one_cue() || sheet.anchor.is_some() {
        place_for(sheet, stretch.counts())
    } else {
        (sheet.cursor, stretch.counts())
    };
    let whole = stretch.counts().0.min(sheet.dance.grid.end().since(at).0);
    let (name, put) = (stretch.name(), room.0.min(whole));
    let effects = sheet.perform(&Command::PutDown { stretch, at, room });
    if !effects.is_empty() {
        go(sheet, at);
        sheet.say(if put < whole - 1e-6 {
            format!("{name} put down on {}, for which there was room; u takes it back", counts(Counts(put)))
        } else {
            format!("{name} put down; u takes it back")
        });
    } else if sheet.notice.is_none() {
        sheet.say(format!("{name} stands there already"));
    }
    effects
}

fn mend(sheet: &mut Sheet) -> Vec<Effect> {
    if sheet.checked != sheet.state {
        sheet.say("the check is still looking at the last change; press f again");
        return Vec::new();
    }
    let Some(finding) = sheet.finding_here() else {
        sheet.say("the check finds nothing here; v goes to what it finds next");
        return Vec::new();
    };
    match &finding.fix {
        Some(fix) => {
            // Of the ways that a remedy names, a move in another's place is one.
            let remedy = match fix {
                Fix::ReplaceMove { to, .. } | Fix::Pin { movement: to, .. } => {
                    format!("'{}' is pinned; u takes it back", sheet.named(to))
                }
                _ => finding.remedy.clone(),
            };
            let effects = sheet.perform(&fix.command());
            if !effects.is_empty() {
                // The cue that was changed may stand elsewhere than the finding: she is to see it.
                let changed = sheet.touched.and_then(|index| sheet.cue(index));
                let elsewhere =
                    changed.filter(|cue| cue.at.0 > sheet.cursor.0 || cue.end().0 <= sheet.cursor.0);
                if let Some(at) = elsewhere.map(|cue| cue.at) {
                    go(sheet, at);
                }
                sheet.say(format!("done: {remedy}"));
            }
            effects
        }
        None => {
            sheet.say(format!("this needs your own hand: {}", finding.remedy));
            Vec::new()
        }
    }
}
