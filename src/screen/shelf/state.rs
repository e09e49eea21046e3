//! What the shelf knows, and what keys change in it.

use super::keys::{Action, action};
use crate::lesson::Glance;
use crate::screen::colours::Palette;
use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use std::path::PathBuf;

/// Rows that a page goes by.
const PAGE: usize = 10;
/// The longest words that are looked for.
const LONGEST: usize = 60;

/// How far a dance is known.
#[derive(Debug, Clone, PartialEq)]
pub enum State {
    /// It is being looked at.
    Coming,
    /// At a glance.
    Known(Box<Glance>),
    /// It cannot be opened: why.
    Broken(String),
}

/// One dance on the shelf.
#[derive(Debug, Clone, PartialEq)]
pub struct Slip {
    /// Its file.
    pub path: PathBuf,
    /// What it is called while nothing else is known: the file's name without its ending.
    pub name: String,
    /// How far it is known.
    pub state: State,
}

impl Slip {
    /// What it is called.
    #[must_use]
    pub fn title(&self) -> &str {
        match &self.state {
            State::Known(glance) if !glance.title.trim().is_empty() => &glance.title,
            _ => &self.name,
        }
    }

    /// Whether it has all the words that are looked for.
    fn answers_to(&self, words: &str) -> bool {
        match &self.state {
            State::Known(glance) => glance.answers_to(words),
            _ => {
                let name = self.name.to_lowercase();
                words.split_whitespace().all(|word| name.contains(&word.to_lowercase()))
            }
        }
    }
}

/// What can be done with a dance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "each is a command and explained by its words")]
pub enum Choice {
    Lead,
    Sheet,
    Check,
    HandOut,
    Repair,
}

impl Choice {
    /// Every one, with its letter and its words.
    pub const ALL: [(Self, char, &'static str); 5] = [
        (Self::Lead, 'l', "lead the class"),
        (Self::Sheet, 's', "write on the count sheet"),
        (Self::Check, 'c', "check it"),
        (Self::HandOut, 'h', "print hand-outs, beside the dance"),
        (Self::Repair, 'r', "repair the beats"),
    ];
}

/// The shelf.
#[derive(Debug, Clone, PartialEq)]
pub struct Shelf {
    /// The folder, as it is shown.
    pub folder: String,
    /// Its dances, by title once all are known.
    pub slips: Vec<Slip>,
    /// The words that are looked for.
    pub words: String,
    /// Whether words are being typed.
    pub writing: bool,
    /// Which of the dances that are shown.
    pub cursor: usize,
    /// Which of the choices is pointed at, while they are shown.
    pub choosing: Option<usize>,
    /// Whether the keys are shown.
    pub help: bool,
    /// One sentence on what was done.
    pub notice: Option<String>,
    /// The colours.
    pub palette: Palette,
}

/// What can happen.
#[derive(Debug, Clone, PartialEq)]
pub enum Message {
    /// She pressed a key.
    Key(KeyEvent),
    /// A dance was looked at.
    Looked(PathBuf, State),
}

/// Something to be done outside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Effect {
    /// Do this with the dance in this file, and come back.
    Do(Choice, PathBuf),
    /// Leave.
    Leave,
}

impl Shelf {
    /// A shelf of dances.
    #[must_use]
    pub fn new(folder: String, slips: Vec<Slip>, palette: Palette) -> Self {
        let mut shelf = Self {
            folder,
            slips,
            words: String::new(),
            writing: false,
            cursor: 0,
            choosing: None,
            help: false,
            notice: None,
            palette,
        };
        shelf.sort();
        shelf
    }

    /// Which dances are shown: those with all the words.
    #[must_use]
    pub fn shown(&self) -> Vec<usize> {
        (0..self.slips.len()).filter(|index| self.slips[*index].answers_to(&self.words)).collect()
    }

    /// The dance at the cursor.
    #[must_use]
    pub fn current(&self) -> Option<&Slip> {
        let shown = self.shown();
        self.slips.get(*shown.get(self.cursor)?)
    }

    /// How many are still being looked at.
    #[must_use]
    pub fn coming(&self) -> usize {
        self.slips.iter().filter(|slip| slip.state == State::Coming).count()
    }

    fn sort(&mut self) {
        self.slips.sort_by_cached_key(|slip| (slip.title().to_lowercase(), slip.path.clone()));
    }

    /// Takes in what became known; the cursor stays on its dance.
    fn looked(&mut self, path: &PathBuf, state: State) {
        let here = self.current().map(|slip| slip.path.clone());
        if let Some(slip) = self.slips.iter_mut().find(|slip| slip.path == *path) {
            slip.state = state;
        }
        self.sort();
        let shown = self.shown();
        let place = shown.iter().position(|index| Some(&self.slips[*index].path) == here.as_ref());
        self.cursor = place.unwrap_or(self.cursor).min(shown.len().saturating_sub(1));
    }

    /// Other words: the cursor stays on its dance if that is still shown.
    fn look_for(&mut self, words: String) {
        let here = self.current().map(|slip| slip.path.clone());
        self.words = words;
        let shown = self.shown();
        let place = shown.iter().position(|index| Some(&self.slips[*index].path) == here.as_ref());
        self.cursor = place.unwrap_or(0);
    }

    fn go(&mut self, to: usize) {
        self.cursor = to.min(self.shown().len().saturating_sub(1));
    }

    fn act(&mut self, action: Action) -> Option<Effect> {
        match action {
            Action::Up => self.go(self.cursor.saturating_sub(1)),
            Action::Down => self.go(self.cursor + 1),
            Action::PageUp => self.go(self.cursor.saturating_sub(PAGE)),
            Action::PageDown => self.go(self.cursor + PAGE),
            Action::First => self.go(0),
            Action::Last => self.go(usize::MAX),
            Action::Choose => match self.current().map(|slip| &slip.state) {
                Some(State::Broken(why)) => self.notice = Some(why.clone()),
                Some(_) => self.choosing = Some(0),
                None => {}
            },
            Action::Words => self.writing = true,
            Action::Help => self.help = true,
            Action::Leave => return Some(Effect::Leave),
        }
        None
    }

    /// A key while words are typed; `None` when it is not for the words.
    fn write(&mut self, key: KeyEvent) -> Option<()> {
        match key.code {
            KeyCode::Char(letter) if !key.modifiers.intersects(KeyModifiers::CONTROL | KeyModifiers::ALT) => {
                if self.words.chars().count() < LONGEST && !letter.is_control() {
                    self.look_for(format!("{}{letter}", self.words));
                }
            }
            KeyCode::Backspace => {
                let mut words = self.words.clone();
                // With the last letter away, and once more, the typing is over.
                self.writing = words.pop().is_some();
                self.look_for(words);
            }
            KeyCode::Esc => {
                self.writing = false;
                self.look_for(String::new());
            }
            _ => return None,
        }
        Some(())
    }

    fn choose(&mut self, key: KeyEvent) -> Option<Effect> {
        let at = self.choosing?;
        let mut done = |choice: Choice| {
            self.choosing = None;
            Some(Effect::Do(choice, self.current()?.path.clone()))
        };
        match key.code {
            KeyCode::Enter => return done(Choice::ALL[at.min(Choice::ALL.len() - 1)].0),
            KeyCode::Up => self.choosing = Some(at.saturating_sub(1)),
            KeyCode::Down => self.choosing = Some((at + 1).min(Choice::ALL.len() - 1)),
            KeyCode::Char(letter) => {
                let meant = Choice::ALL.iter().find(|(_, own, _)| *own == letter.to_ascii_lowercase());
                match meant {
                    Some((choice, ..)) => return done(*choice),
                    None if letter == 'q' => self.choosing = None,
                    None => {}
                }
            }
            KeyCode::Esc | KeyCode::Backspace => self.choosing = None,
            _ => {}
        }
        None
    }

    fn pressed(&mut self, key: KeyEvent) -> Option<Effect> {
        if key.kind == KeyEventKind::Release {
            return None;
        }
        self.notice = None;
        if key.modifiers.contains(KeyModifiers::CONTROL) && key.code == KeyCode::Char('c') {
            return Some(Effect::Leave);
        }
        if self.help {
            self.help = false;
            return None;
        }
        if self.choosing.is_some() {
            return self.choose(key);
        }
        if self.writing && self.write(key).is_some() {
            return None;
        }
        if key.code == KeyCode::Esc && !self.words.is_empty() {
            // The words outlive their typing; they go before she does.
            self.look_for(String::new());
            return None;
        }
        match (action(key), key.code) {
            (Some(action), _) => self.act(action),
            (None, KeyCode::Char(_)) => {
                self.writing = true;
                self.write(key);
                None
            }
            (None, _) => None,
        }
    }
}

/// Changes the state; what is to be done outside comes back.
pub fn update(shelf: &mut Shelf, message: Message) -> Option<Effect> {
    match message {
        Message::Key(key) => shelf.pressed(key),
        Message::Looked(path, state) => {
            shelf.looked(&path, state);
            None
        }
    }
}
