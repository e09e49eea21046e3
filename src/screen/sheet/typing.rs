//! Choosing a move by a few letters, and writing words, questions, notes and numbers.

use super::entry::Entry;
use super::keys::Action;
use super::modes::{About, Effect, Mode, Purpose};
use super::state::Sheet;
use crate::check::unsuited;
use crate::dance::edit::{Command, Over};
use crate::dance::{Cue, Move, MoveId, Prompt, Silenced};
use crate::units::{Beat, Counts};
use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

/// Counts of free words where nothing says how long they last.
const FREE: Counts = Counts(8.0);

/// Opens what an action needs to be told.
pub(super) fn begin(sheet: &mut Sheet, action: Action) {
    if let Some(why) = sheet.read_only.clone() {
        sheet.say(why);
        return;
    }
    let here = sheet.cue_here();
    let cue = here.and_then(|index| sheet.cue(index)).cloned();
    match action {
        Action::Pin => {
            let first = cue.as_ref().is_some_and(|cue| (cue.at.0 - sheet.cursor.0).abs() < 1e-3);
            let purpose = match here.filter(|_| first && sheet.anchor.is_none()) {
                Some(index) => Purpose::Change(index),
                None => Purpose::Pin,
            };
            choose(sheet, purpose);
        }
        Action::Other => match cue.as_ref().and_then(|cue| cue.movement.clone()) {
            Some(id) => choose(sheet, Purpose::Replace(id)),
            None => sheet.say("no move of the book on this count, so there is none to replace"),
        },
        Action::Words => {
            let text = cue.as_ref().map_or("", |cue| sheet.dance.words_of(cue));
            sheet.mode = Mode::Write(About::Words(here), Entry::of(text));
        }
        Action::Lead | Action::Why => {
            let Some((index, cue)) = here.zip(cue) else {
                sheet.say("no cue on this count; enter pins one");
                return;
            };
            let (about, text) = if action == Action::Lead {
                (About::Lead(index), cue.lead.map_or_else(String::new, |lead| lead.0.to_string()))
            } else {
                (About::Why(index), cue.why.unwrap_or_default())
            };
            sheet.mode = Mode::Write(about, Entry::of(&text));
        }
        Action::Prompt => {
            let prompt = sheet.prompt_here();
            let text = prompt.and_then(|index| sheet.dance.prompts.get(index));
            let entry = Entry::of(text.map_or("", |prompt| &prompt.question));
            sheet.mode = Mode::Write(About::Question(prompt), entry);
        }
        Action::Notes => sheet.mode = Mode::Write(About::Notes, Entry::of(&sheet.dance.notes)),
        Action::Title => sheet.mode = Mode::Write(About::Title, Entry::of(&sheet.dance.title)),
        Action::AsIn if sheet.phrase_here().is_some() => {
            sheet.mode = Mode::Write(About::AsIn, Entry::default());
        }
        Action::AsIn => sheet.say("this count is before the first phrase; go to the phrase to write in"),
        Action::Ignore => match sheet.finding_here().map(|finding| (finding.rule, finding.at)) {
            Some((rule, at)) => sheet.mode = Mode::Write(About::Ignore(rule, at), Entry::default()),
            None => sheet.say("the check finds nothing here; v goes to what it finds next"),
        },
        _ => {}
    }
}

/// Opens the moves, with what is known of how they suit the place.
fn choose(sheet: &mut Sheet, purpose: Purpose) {
    let cues = &sheet.dance.cues;
    let places = |entry: &Move| -> Vec<(Beat, Counts)> {
        match &purpose {
            Purpose::Pin => vec![place_for(sheet, entry.counts)],
            Purpose::Change(index) => cues.get(*index).map(|cue| (cue.at, cue.counts)).into_iter().collect(),
            Purpose::Replace(id) => {
                let same = cues.iter().filter(|cue| cue.movement.as_ref() == Some(id));
                same.map(|cue| (cue.at, cue.counts)).collect()
            }
        }
    };
    sheet.unsuited = unsuited(&sheet.dance, sheet.listening.as_deref(), sheet.book.moves(), places);
    sheet.mode = Mode::Choose(purpose, Entry::default(), 0);
}

/// A key while a move is chosen.
pub(super) fn choosing(
    sheet: &mut Sheet,
    purpose: Purpose,
    mut entry: Entry,
    place: usize,
    key: &KeyEvent,
) -> Vec<Effect> {
    let found = sheet.found(entry.text()).len();
    let place = match key.code {
        KeyCode::Esc => {
            sheet.mode = Mode::Sheet;
            return Vec::new();
        }
        KeyCode::Enter => {
            let Some(id) = sheet.found(entry.text()).get(place).map(|entry| entry.id.clone()) else {
                return Vec::new();
            };
            sheet.mode = Mode::Sheet;
            return chosen(sheet, &purpose, id);
        }
        KeyCode::Down => (place + 1).min(found.saturating_sub(1)),
        KeyCode::Up => place.saturating_sub(1),
        KeyCode::PageDown => (place + 5).min(found.saturating_sub(1)),
        KeyCode::PageUp => place.saturating_sub(5),
        _ => {
            entry.key(key);
            0
        }
    };
    sheet.mode = Mode::Choose(purpose, entry, place);
    Vec::new()
}

fn chosen(sheet: &mut Sheet, purpose: &Purpose, id: MoveId) -> Vec<Effect> {
    let effects = match purpose {
        Purpose::Change(cue) => sheet.perform(&Command::ChangeMove { cue: *cue, to: Some(id) }),
        Purpose::Replace(from) => {
            let effects = sheet.perform(&Command::ReplaceMove { from: from.clone(), to: id.clone() });
            if !effects.is_empty() {
                let words = format!("'{}' is now '{}' everywhere", sheet.named(from), sheet.named(&id));
                sheet.say(words);
            }
            effects
        }
        Purpose::Pin => {
            let natural = sheet.book.get(&id).map_or(FREE, |entry| entry.counts);
            let (at, counts) = place_for(sheet, natural);
            let cue = Cue::new(at, counts, id);
            sheet.perform(&Command::AddCue { cue, over: Over::Erase })
        }
    };
    if !effects.is_empty() {
        sheet.hint = sheet.hint.max(1);
        sheet.anchor = None;
    }
    effects
}

/// Where a new cue comes and how long it lasts: what is selected; else its natural length, but not beyond the free space
/// or the cue that it is put into, so that no neighbour is touched unasked.
pub(super) fn place_for(sheet: &Sheet, natural: Counts) -> (Beat, Counts) {
    let selection = sheet.selection();
    if sheet.anchor.is_some() {
        return (selection.from, selection.to.since(selection.from));
    }
    let at = sheet.cursor;
    let covers = |cue: &&Cue| cue.at.0 <= at.0 + 1e-6 && cue.end().0 > at.0 + 1e-3;
    let inside = sheet.dance.cues.iter().find(covers).map(Cue::end);
    let next = sheet.dance.cues.iter().map(|cue| cue.at).find(|start| start.0 > at.0 + 1e-3);
    let next = inside.or(next);
    let room = next.map_or(natural, |next| next.since(at));
    (at, Counts(natural.0.min(room.0)))
}

/// A key while something is written.
pub(super) fn writing(sheet: &mut Sheet, about: About, mut entry: Entry, key: &KeyEvent) -> Vec<Effect> {
    let new_line = match key.code {
        KeyCode::Enter => key.modifiers.contains(KeyModifiers::ALT),
        KeyCode::Char('j') => key.modifiers.contains(KeyModifiers::CONTROL),
        _ => false,
    };
    let before = entry.text().to_owned();
    match key.code {
        KeyCode::Esc => {
            sheet.mode = Mode::Sheet;
            return match about {
                // The question is written; only the answer is left as it was.
                About::Answer(index, question) => {
                    let effects = keep(sheet, &About::Question(index), &question);
                    done(sheet);
                    effects
                }
                _ => {
                    let effects = take_back(sheet);
                    if !effects.is_empty() {
                        sheet.say("left as it was; z brings back what you typed");
                    }
                    effects
                }
            };
        }
        _ if new_line && about == About::Notes => entry.put('\n'),
        KeyCode::Enter if !new_line => {
            sheet.mode = Mode::Sheet;
            return written(sheet, about, entry.text());
        }
        _ => {
            entry.key(key);
        }
    }
    let mut effects = Vec::new();
    if entry.text() != before && is_kept(&about) {
        effects.extend(keep(sheet, &about, entry.text()));
    }
    sheet.mode = Mode::Write(about, entry);
    effects
}

/// Whether what is typed is kept with every key: all that would be missed. A number or the name of a phrase is not.
fn is_kept(about: &About) -> bool {
    !matches!(about, About::Lead(_) | About::AsIn | About::Ignore(..))
}

/// Makes what is typed so far a step, in the place of the one that was made of fewer letters: it is in the recovery copy
/// before the next key, and what is typed is one step in the end.
fn keep(sheet: &mut Sheet, about: &About, text: &str) -> Vec<Effect> {
    let Some(command) = command(sheet, about, text) else { return take_back(sheet) };
    let selection = sheet.selection();
    let (history, dance, book) = (&mut sheet.history, &mut sheet.dance, &sheet.book);
    // A refusal is said when she has finished: half a word may be refused.
    let done = if sheet.live {
        history.perform_instead(dance, book, &command).ok()
    } else {
        // Not joined to a gesture before: taking it back must take back this one alone.
        history.pause();
        history.perform(dance, book, &command, selection, sheet.now).ok().flatten()
    };
    let Some(done) = done else { return Vec::new() };
    sheet.history.pause();
    sheet.live = !done.record.is_nothing();
    sheet.changed(vec![done.record])
}

/// What is typed is finished: it stays.
fn done(sheet: &mut Sheet) {
    sheet.live = false;
    sheet.anchor = None;
}

/// What is typed is not wanted; doing again brings it back.
fn take_back(sheet: &mut Sheet) -> Vec<Effect> {
    if !std::mem::take(&mut sheet.live) {
        return Vec::new();
    }
    match sheet.history.undo(&mut sheet.dance) {
        Ok(Some(undone)) => sheet.changed(vec![undone.record]),
        _ => Vec::new(),
    }
}

/// What is to be done for a text; `None` for one that does nothing, and for what is not kept while it is typed.
fn command(sheet: &Sheet, about: &About, text: &str) -> Option<Command> {
    let trimmed = text.trim();
    let some = (!trimmed.is_empty()).then(|| trimmed.to_owned());
    Some(match about {
        About::Words(Some(cue)) => {
            let cue = *cue;
            // The move's own words are no words of hers.
            let own =
                sheet.cue(cue).and_then(|cue| sheet.dance.move_of(cue)).map(|entry| entry.words.clone());
            Command::SetWords { cue, words: some.filter(|text| Some(text) != own.as_ref()) }
        }
        About::Words(None) => {
            let begun = sheet.dance.cues.iter().find(|cue| sheet.live && cue.at == sheet.selection().from);
            let (at, counts) = match begun {
                Some(begun) => (begun.at, begun.counts),
                None => place_for(sheet, FREE),
            };
            let cue =
                Cue { movement: None, words: Some(some?), ..Cue::new(at, counts, MoveId(String::new())) };
            Command::AddCue { cue, over: Over::Erase }
        }
        About::Why(cue) => Command::SetWhy { cue: *cue, why: some },
        About::Notes => Command::SetNotes(text.trim_end().to_owned()),
        About::Title => Command::SetTitle(some?),
        About::Question(index) => {
            let old = index.and_then(|index| sheet.dance.prompts.get(index));
            let answer = old.map_or_else(String::new, |old| old.answer.clone());
            question_of(sheet, *index, some?, answer)
        }
        About::Answer(index, question) => question_of(sheet, *index, question.clone(), trimmed.to_owned()),
        About::Lead(_) | About::AsIn | About::Ignore(..) => return None,
    })
}

fn question_of(sheet: &Sheet, index: Option<usize>, question: String, answer: String) -> Command {
    match index.and_then(|index| Some((index, sheet.dance.prompts.get(index)?.clone()))) {
        Some((prompt, old)) => Command::ChangePrompt { prompt, to: Prompt { question, answer, ..old } },
        None => {
            let at = Beat(sheet.cursor.0.floor());
            let unknown = serde_json::Map::new();
            Command::AddPrompt { prompt: Prompt { at, question, answer, pause: false, unknown } }
        }
    }
}

/// Finishes what was written.
fn written(sheet: &mut Sheet, about: About, text: &str) -> Vec<Effect> {
    let trimmed = text.trim();
    let some = (!trimmed.is_empty()).then(|| trimmed.to_owned());
    match about {
        About::Lead(cue) => match some.map(|text| text.replace(',', ".").parse::<f64>()) {
            None => sheet.perform(&Command::SetLead { cue, lead: None }),
            Some(Ok(lead)) => sheet.perform(&Command::SetLead { cue, lead: Some(Counts(lead)) }),
            Some(Err(_)) => {
                sheet.say(format!("'{trimmed}' is no number of counts; write one such as 4, or nothing"));
                Vec::new()
            }
        },
        About::AsIn => as_in(sheet, trimmed),
        About::Ignore(rule, at) => {
            let Some(reason) = some else {
                sheet.say(
                    "say in a few words why it may stay, so that others understand; it is not ignored yet",
                );
                return Vec::new();
            };
            let finding = Silenced { rule: rule.to_owned(), at, reason, unknown: serde_json::Map::new() };
            sheet.perform(&Command::Silence { finding })
        }
        About::Question(index) => match some {
            Some(question) => {
                // The answer is written into the same step.
                let old = index.and_then(|index| sheet.dance.prompts.get(index));
                let answer = Entry::of(old.map_or("", |prompt| &prompt.answer));
                sheet.mode = Mode::Write(About::Answer(index, question), answer);
                Vec::new()
            }
            None => {
                done(sheet);
                index.map_or_else(Vec::new, |prompt| sheet.perform(&Command::RemovePrompt { prompt }))
            }
        },
        about => {
            let mut effects = Vec::new();
            if about == About::Title && some.is_none() {
                sheet.say("a dance needs a title");
            } else if !sheet.live
                && let Some(command) = command(sheet, &about, text)
            {
                // It was refused, which she is told now, or is as it was.
                effects = sheet.perform(&command);
            }
            done(sheet);
            effects
        }
    }
}

/// Writes the moves of another phrase, named by its number or its letter, into this one; `mirrored` turns the sides.
fn as_in(sheet: &mut Sheet, text: &str) -> Vec<Effect> {
    let Some(here) = sheet.phrase_here().map(|span| span.index) else { return Vec::new() };
    let mut words = text.split_whitespace();
    let name = words.next().unwrap_or_default();
    let mirror = words.next().is_some_and(|word| "mirrored".starts_with(&word.to_lowercase()));
    let by_number = name.parse::<usize>().ok().and_then(|number| number.checked_sub(1));
    // Of several phrases with this letter the last one before this is meant, else the first one after it.
    let letters: Vec<usize> = sheet
        .dance
        .grid
        .phrase_spans()
        .filter(|span| span.index != here && span.letter.to_lowercase() == name.to_lowercase())
        .map(|span| span.index)
        .collect();
    let by_letter = letters.iter().rev().find(|index| **index < here).or(letters.first()).copied();
    let Some(phrase) = by_number.or(by_letter) else {
        sheet
            .say(format!("no other phrase is called '{name}'; write its letter or number, as in the margin"));
        return Vec::new();
    };
    let effects = sheet.perform(&Command::RepeatPhrase { phrase, into: vec![here], mirror });
    if !effects.is_empty() {
        let how = if mirror { ", mirrored" } else { "" };
        sheet.say(format!("as in phrase {}{how}", phrase + 1));
    }
    effects
}
