//! From what is asked for to the exact change: the only place that decides what a command means.

use super::command::{Command, Over};
use super::cues::{erase, length, part, position, put, rounded};
use super::follow::{Follow, to_same_counts, to_same_music};
use super::splice::{Splice, differences};
use super::{Edit, EditError, Selection, apply, phrases};
use crate::dance::{Cue, Dance, Move, MoveBook, MoveId, Profile, Prompt, Silenced};
use crate::grid::{Anchor, Grid};
use crate::units::{Beat, Counts, Seconds};
use std::collections::BTreeSet;

/// What a command comes to on one state of a dance.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The exact change; [`Edit::nothing`] when the dance is already as wanted.
    pub edit: Edit,
    /// What it is called, as in "undo ...": `move 'march'`.
    pub label: String,
    /// The index, afterwards, of the cue or prompt that the command was aimed at or made.
    pub target: Option<usize>,
    /// The counts it concerned, to be selected afterwards; `None` leaves the selection where it is.
    pub selection: Option<Selection>,
}

/// Works out what `command` comes to on `dance`, which is not changed. Moves that the dance does not hold yet are
/// copied from `book`.
///
/// # Errors
/// [`EditError`] says in plain words what is in the way and what would help.
pub fn plan(dance: &Dance, book: &MoveBook, command: &Command) -> Result<Plan, EditError> {
    match command {
        Command::All { label, commands } => all(dance, book, label, commands),
        Command::SetGrid { grid, anchors, follow, label, .. } => {
            set_grid(dance, grid, anchors, *follow, label)
        }
        Command::AddPrompt { .. }
        | Command::RemovePrompt { .. }
        | Command::ChangePrompt { .. }
        | Command::Silence { .. }
        | Command::Unsilence { .. }
        | Command::SetTitle(_)
        | Command::SetNotes(_)
        | Command::SetProfile(_) => beside_the_cues(dance, command),
        _ => change_cues(dance, book, command),
    }
}

/// Each command on the result of the one before.
fn all(dance: &Dance, book: &MoveBook, label: &str, commands: &[Command]) -> Result<Plan, EditError> {
    let mut scratch = dance.clone();
    let mut edits = Vec::new();
    let (mut target, mut selection) = (None, None);
    for command in commands {
        let step = plan(&scratch, book, command)?;
        if !step.edit.is_nothing() {
            apply(&mut scratch, step.edit.clone())?;
            edits.push(step.edit);
        }
        target = step.target;
        selection = step.selection.or(selection);
    }
    Ok(Plan { edit: one(edits), label: label.to_owned(), target, selection })
}

fn set_grid(
    dance: &Dance,
    grid: &Grid,
    anchors: &[Anchor],
    follow: Follow,
    label: &str,
) -> Result<Plan, EditError> {
    let beats = grid.beats().iter().map(|beat| as_saved(*beat)).collect();
    let grid = Grid::new(beats, grid.bars().to_vec(), grid.phrases().to_vec())?;
    let anchors: Vec<Anchor> = anchors.iter().map(anchor_as_saved).collect();
    let mut edits = Vec::new();
    if follow != Follow::Counts {
        let mut moved = dance.clone();
        match follow {
            Follow::Music => to_same_music(&mut moved, &grid),
            Follow::Phrases => to_same_counts(&mut moved, &grid),
            Follow::Counts => {}
        }
        edits.extend(differences(&dance.cues, &moved.cues).into_iter().map(Edit::Cues));
        edits.extend(differences(&dance.prompts, &moved.prompts).into_iter().map(Edit::Prompts));
        edits.extend(differences(&dance.silenced, &moved.silenced).into_iter().map(Edit::Silenced));
    }
    if grid != dance.grid || anchors != dance.anchors {
        edits.push(Edit::Grid { grid, anchors });
    }
    Ok(Plan { edit: one(edits), label: label.to_owned(), target: None, selection: None })
}

/// A time to a tenth of a millisecond, so that the dance in hand, the saved one and a replayed session are the same.
fn as_saved(at: Seconds) -> Seconds {
    Seconds((at.0 * 1e4).round() / 1e4 + 0.0)
}

fn anchor_as_saved(anchor: &Anchor) -> Anchor {
    let mut anchor = anchor.clone();
    match &mut anchor {
        Anchor::Tap { at } | Anchor::Beat { at } | Anchor::BarStart { at } | Anchor::CountOne { at } => {
            *at = as_saved(*at);
        }
        Anchor::Level { from, .. }
        | Anchor::ShiftHalf { from }
        | Anchor::Metre { from, .. }
        | Anchor::PhraseLength { from, .. } => {
            *from = as_saved(*from);
        }
        Anchor::Hold { at, until } => {
            *at = as_saved(*at);
            *until = as_saved(*until);
        }
        Anchor::Given { beats, .. } => beats.iter_mut().for_each(|beat| *beat = as_saved(*beat)),
    }
    anchor
}

/// Prompts, silenced findings and what stands at the head of the sheet.
fn beside_the_cues(dance: &Dance, command: &Command) -> Result<Plan, EditError> {
    let mut prompts = dance.prompts.clone();
    let mut silenced = dance.silenced.clone();
    let (mut edits, mut target, mut selection) = (Vec::new(), None, None);
    let label = match command {
        Command::AddPrompt { prompt } => {
            let prompt = tidy(dance, prompt)?;
            selection = Some(Selection::at(prompt.at));
            target = Some(put_prompt(&mut prompts, prompt));
            "add a prompt"
        }
        Command::RemovePrompt { prompt } => {
            let gone = take_prompt(&mut prompts, *prompt)?;
            selection = Some(Selection::at(gone.at));
            "remove a prompt"
        }
        Command::ChangePrompt { prompt, to } => {
            take_prompt(&mut prompts, *prompt)?;
            let changed = tidy(dance, to)?;
            selection = Some(Selection::at(changed.at));
            target = Some(put_prompt(&mut prompts, changed));
            "change a prompt"
        }
        Command::Silence { finding } => {
            let at = finding.at.map(|at| Beat(rounded(at.0)));
            let finding = Silenced { at, ..finding.clone() };
            match silenced.iter_mut().find(|other| other.rule == finding.rule && other.at == at) {
                Some(other) => *other = finding,
                None => silenced.push(finding),
            }
            "silence a finding"
        }
        Command::Unsilence { finding } => {
            if *finding >= silenced.len() {
                return Err(EditError::NoSilenced { number: finding + 1, have: silenced.len() });
            }
            silenced.remove(*finding);
            "show a finding again"
        }
        Command::SetTitle(title) => {
            let title = one_line(title);
            edits.extend((title != dance.title).then_some(Edit::Title(title)));
            "change the title"
        }
        Command::SetNotes(notes) => {
            edits.extend((*notes != dance.notes).then(|| Edit::Notes(notes.clone())));
            "change the notes"
        }
        Command::SetProfile(profile) => {
            let profile = sensible(*profile)?;
            edits.extend((profile != *dance.profile).then_some(Edit::Profile(profile)));
            "change the class"
        }
        _ => "",
    };
    edits.extend(differences(&dance.prompts, &prompts).into_iter().map(Edit::Prompts));
    edits.extend(differences(&dance.silenced, &silenced).into_iter().map(Edit::Silenced));
    Ok(Plan { edit: one(edits), label: label.into(), target, selection })
}

/// Everything that changes cues: done on a copy of them, and then compared.
fn change_cues(dance: &Dance, book: &MoveBook, command: &Command) -> Result<Plan, EditError> {
    let mut cues = dance.cues.clone();
    let mut selection = None;
    let said = |index: usize| dance.cues.get(index).map_or("", |cue| dance.words_of(cue));
    let mut carried: &[Move] = &[];
    let (target, label) = match command {
        Command::AddCue { cue, over } => {
            let mut cue = cue.clone();
            cue.words = cue.words.map(|words| one_line(&words));
            cue.lead = lead(cue.lead)?;
            let what = words_in(dance, book, &cue);
            cue.at = position(dance, cue.at, &what)?;
            cue.counts = length(dance, cue.at, cue.counts, &what)?;
            (Some(put(&mut cues, cue, *over)), format!("add '{what}'"))
        }
        Command::RemoveCue { cue } => {
            let gone = take(&mut cues, *cue)?;
            selection = Some(Selection { from: gone.at, to: gone.end() });
            (None, format!("remove '{}'", said(*cue)))
        }
        Command::Erase { from, to } => {
            let (from, to) = in_order(*from, *to);
            erase(&mut cues, from, to);
            (None, "rub out".into())
        }
        Command::MoveCue { cue, to, over } => {
            let mut moved = take(&mut cues, *cue)?;
            let before = moved.at;
            moved.at = position(dance, *to, said(*cue))?;
            moved.counts = length(dance, moved.at, moved.counts, said(*cue))?;
            let index = if moved.at == before {
                cues.insert(*cue, moved);
                *cue
            } else {
                put(&mut cues, moved, *over)
            };
            (Some(index), format!("move '{}'", said(*cue)))
        }
        Command::StretchCue { cue, counts, over } => {
            let mut stretched = take(&mut cues, *cue)?;
            let (before, old_end) = (stretched.counts, stretched.end());
            stretched.counts = length(dance, stretched.at, *counts, said(*cue))?;
            let longer = stretched.counts > before;
            // Only what it grows over is rubbed out: what lay under it before was meant to. Cues before it may be among
            // that, where a file has them in no order: then it is no longer the same one of them.
            let index = if longer && *over == Over::Erase {
                erase(&mut cues, old_end, stretched.end());
                put(&mut cues, stretched, Over::Keep)
            } else {
                cues.insert(*cue, stretched);
                *cue
            };
            let word = if longer { "lengthen" } else { "shorten" };
            (Some(index), format!("{word} '{}'", said(*cue)))
        }
        Command::SplitCue { cue, at } => {
            let whole = get(&cues, *cue)?.clone();
            let (Some(first), Some(second)) = (part(&whole, whole.at, *at), part(&whole, *at, whole.end()))
            else {
                return Err(EditError::NotInside { what: said(*cue).to_owned() });
            };
            cues[*cue] = first;
            let index = put(&mut cues, second, Over::Keep);
            (Some(index), format!("split '{}'", said(*cue)))
        }
        Command::JoinCue { cue } => {
            let first = get(&cues, *cue)?.clone();
            let Some(second) = cues.get(cue + 1) else {
                return Err(EditError::NothingToJoin { what: said(*cue).to_owned() });
            };
            let end = first.end().0.max(second.end().0);
            cues[*cue].counts = Counts(rounded(end - first.at.0));
            cues.remove(cue + 1);
            (Some(*cue), format!("join '{}' and '{}'", said(*cue), said(cue + 1)))
        }
        Command::ReplaceMove { from, to } => {
            let mut found = false;
            for cue in cues.iter_mut().filter(|cue| cue.movement.as_ref() == Some(from)) {
                say(cue, to, find_move(dance, book, to)?, find_move(dance, book, from)?);
                found = true;
            }
            if !found {
                return Err(EditError::NotUsed { name: from.0.clone() });
            }
            (None, format!("replace '{}' by '{}'", from.0, to.0))
        }
        Command::RepeatPhrase { phrase, into, mirror } => {
            let copies = phrases::repeat(dance, &mut cues, *phrase, into, *mirror)?;
            let times = if copies == 1 { "once".into() } else { format!("{copies} times") };
            (None, format!("repeat phrase {} {times}", phrase + 1))
        }
        Command::PutDown { stretch, at, room } => {
            carried = stretch.moves();
            let first = stretch.put(dance, &mut cues, *at, *room)?;
            (Some(first), format!("put down {}", stretch.name()))
        }
        Command::Mirror { from, to } => {
            let (from, to) = in_order(*from, *to);
            phrases::mirror(&mut cues, from, to)?;
            (None, "mirror".into())
        }
        _ => one_field(dance, book, &mut cues, command)?,
    };
    if let Some(cue) = target.and_then(|index| cues.get(index)) {
        selection = Some(Selection { from: cue.at, to: cue.end() });
    }
    Ok(Plan { edit: cue_edit(dance, (carried, book), &cues)?, label, target, selection })
}

/// Commands that change one field of one cue.
fn one_field(
    dance: &Dance,
    book: &MoveBook,
    cues: &mut [Cue],
    command: &Command,
) -> Result<(Option<usize>, String), EditError> {
    let (Command::ChangeMove { cue: index, .. }
    | Command::SetWords { cue: index, .. }
    | Command::SetSide { cue: index, .. }
    | Command::SetLead { cue: index, .. }
    | Command::SetWhy { cue: index, .. }) = command
    else {
        return Ok((None, String::new()));
    };
    let have = cues.len();
    let cue = cues.get_mut(*index).ok_or(EditError::NoCue { number: index + 1, have })?;
    let said = dance.words_of(&dance.cues[*index]);
    let label = match command {
        Command::ChangeMove { to: Some(to), .. } => {
            let entry = find_move(dance, book, to)?;
            say(cue, to, entry, dance.move_of(&dance.cues[*index]));
            format!("change '{said}' to '{}'", entry.map_or(&to.0, |entry| &entry.words))
        }
        Command::ChangeMove { to: None, .. } => {
            cue.movement = None;
            cue.words = Some(said.to_owned());
            format!("write '{said}' freely")
        }
        Command::SetWords { words, .. } => {
            let typed = words.as_deref().map(one_line).filter(|words| !words.trim().is_empty());
            // Free words have no others to fall back on: they stay, empty, and can be typed again.
            cue.words = if cue.movement.is_none() { Some(typed.unwrap_or_default()) } else { typed };
            format!("change the words of '{said}'")
        }
        Command::SetSide { side, .. } => {
            cue.side = *side;
            format!("change the side of '{said}'")
        }
        Command::SetLead { lead: asked, .. } => {
            cue.lead = lead(*asked)?;
            format!("change when '{said}' is called")
        }
        Command::SetWhy { why, .. } => {
            cue.why = why.as_deref().map(one_line).filter(|why| !why.trim().is_empty());
            format!("change the note on '{said}'")
        }
        _ => String::new(),
    };
    Ok((Some(*index), label))
}

/// The change from the dance's cues to these, and of its moves to those they name: moves that come along with cues before
/// those of the book.
fn cue_edit(dance: &Dance, (carried, book): (&[Move], &MoveBook), cues: &[Cue]) -> Result<Edit, EditError> {
    let named =
        |cues: &[Cue]| cues.iter().filter_map(|cue| cue.movement.clone()).collect::<BTreeSet<MoveId>>();
    let mut edits: Vec<Edit> = differences(&dance.cues, cues).into_iter().map(Edit::Cues).collect();
    let (before, after) = (named(&dance.cues), named(cues));
    let mut moves = dance.moves.clone();
    moves.retain(|entry| after.contains(&entry.id) || !before.contains(&entry.id));
    for id in &after {
        if moves.iter().any(|entry| entry.id == *id) {
            continue;
        }
        let own = carried.iter().find(|entry| entry.id == *id);
        match own.or_else(|| book.get(id)) {
            Some(entry) => moves.insert(moves.partition_point(|other| other.id < *id), entry.clone()),
            // A dance from elsewhere may name a move that nobody describes; it may go on doing so.
            None if before.contains(id) => {}
            None => return Err(EditError::NoMove { name: id.0.clone() }),
        }
    }
    edits.extend(move_splices(&dance.moves, &moves).into_iter().map(Edit::Moves));
    Ok(one(edits))
}

/// The splices between two lists of moves. One move replaced by another far off would otherwise take along
/// everything between them.
fn move_splices(old: &[Move], new: &[Move]) -> Vec<Splice<Move>> {
    let mut kept = old.to_vec();
    let mut splices = Vec::new();
    for index in (0..kept.len()).rev() {
        if !new.contains(&kept[index]) {
            kept.remove(index);
            splices.push(Splice { from: index, out: 1, items: Vec::new() });
        }
    }
    splices.extend(differences(&kept, new));
    splices
}

/// One edit of several; a single one is itself.
fn one(mut edits: Vec<Edit>) -> Edit {
    match (edits.pop(), edits.is_empty()) {
        (Some(edit), true) => edit,
        (Some(edit), false) => {
            edits.push(edit);
            Edit::Batch(edits)
        }
        (None, _) => Edit::nothing(),
    }
}

/// The ends of a stretch, which may have been selected backwards; a NaN takes the other end's place.
fn in_order(from: Beat, to: Beat) -> (Beat, Beat) {
    (Beat(rounded(from.0.min(to.0))), Beat(rounded(from.0.max(to.0))))
}

fn get(cues: &[Cue], index: usize) -> Result<&Cue, EditError> {
    cues.get(index).ok_or(EditError::NoCue { number: index + 1, have: cues.len() })
}

fn take(cues: &mut Vec<Cue>, index: usize) -> Result<Cue, EditError> {
    get(cues, index)?;
    Ok(cues.remove(index))
}

fn take_prompt(prompts: &mut Vec<Prompt>, index: usize) -> Result<Prompt, EditError> {
    if index < prompts.len() {
        Ok(prompts.remove(index))
    } else {
        Err(EditError::NoPrompt { number: index + 1, have: prompts.len() })
    }
}

fn put_prompt(prompts: &mut Vec<Prompt>, prompt: Prompt) -> usize {
    let index = prompts.partition_point(|other| other.at <= prompt.at);
    prompts.insert(index, prompt);
    index
}

/// A prompt on a place in the music, its texts on one line each.
fn tidy(dance: &Dance, prompt: &Prompt) -> Result<Prompt, EditError> {
    Ok(Prompt {
        at: position(dance, prompt.at, "prompt")?,
        question: one_line(&prompt.question),
        answer: one_line(&prompt.answer),
        pause: prompt.pause,
        unknown: prompt.unknown.clone(),
    })
}

/// A profile with possible numbers.
fn sensible(profile: Profile) -> Result<Profile, EditError> {
    if !(3..=99).contains(&profile.age) {
        return Err(EditError::Age { age: profile.age });
    }
    // Four decimals, as it is saved.
    let distance = (profile.distance * 1e4).round() / 1e4;
    if distance.is_finite() && distance > 0.0 {
        Ok(Profile { distance, ..profile })
    } else {
        Err(EditError::Distance { metres: profile.distance })
    }
}

fn lead(lead: Option<Counts>) -> Result<Option<Counts>, EditError> {
    match lead {
        Some(Counts(counts)) if !counts.is_finite() || counts < 0.0 => {
            Err(EditError::NoLead { lead: counts })
        }
        lead => Ok(lead.map(|lead| Counts(rounded(lead.0)))),
    }
}

/// The move of that name: the dance's own copy before the book's; `None` for one that is named but described nowhere.
fn find_move<'a>(dance: &'a Dance, book: &'a MoveBook, id: &MoveId) -> Result<Option<&'a Move>, EditError> {
    let own = dance.moves.iter().find(|entry| entry.id == *id).or_else(|| book.get(id));
    let named = || dance.cues.iter().any(|cue| cue.movement.as_ref() == Some(id));
    if own.is_some() || named() { Ok(own) } else { Err(EditError::NoMove { name: id.0.clone() }) }
}

/// Lets a cue say another move than the one before. Words written over the old move would contradict the new one, and so
/// would a side that the new move does not have.
fn say(cue: &mut Cue, id: &MoveId, entry: Option<&Move>, before: Option<&Move>) {
    cue.movement = Some(id.clone());
    cue.words = None;
    // A draft's reasons name the move that they are for: they are none for another one.
    if let (Some(before), Some(why)) = (before, &cue.why)
        && before.id != *id
        && why.contains(&format!("'{}'", before.words))
    {
        cue.why = None;
    }
    if entry.is_some_and(|entry| !entry.one_sided) {
        cue.side = None;
    }
}

/// The words of a cue that the dance does not hold yet.
fn words_in(dance: &Dance, book: &MoveBook, cue: &Cue) -> String {
    let from_book = || Some(book.get(cue.movement.as_ref()?)?.words.clone());
    match (&cue.words, dance.move_of(cue)) {
        (None, None) => from_book().unwrap_or_else(|| dance.words_of(cue).to_owned()),
        _ => dance.words_of(cue).to_owned(),
    }
}

/// Text for one line of a screen: line breaks and other controls become spaces.
fn one_line(text: &str) -> String {
    text.replace(char::is_control, " ")
}
