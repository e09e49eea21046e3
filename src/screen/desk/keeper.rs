//! Keeping what is typed: every change in the recovery journal before it is shown, the file saved now and then, and a
//! word to the teacher when either cannot be done.

use super::saver::{Job, OnDisk, Saver, Store};
use crate::dance::Dance;
use crate::dance::edit::{History, Record, Revision};
use crate::shelf::journal::Journal;
use crate::shelf::{self, Autosave, Lock, Places, SaveError, Stamp};
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// A journal that cannot be written is tried again so long after it failed. Our choice.
const JOURNAL_AGAIN: Duration = Duration::from_secs(2);
/// How long leaving waits for a disk that is slow: an external disk takes some ten seconds to wake up.
const LEAVING: Duration = Duration::from_secs(30);

/// What she is to be told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum News {
    /// The file holds what was on the screen when it was last saved.
    Saved,
    /// Something cannot be written: a sentence, to stay on the screen until [`News::Mended`] or [`News::Saved`]. The work
    /// is kept and writing is tried again.
    Trouble(String),
    /// What could not be written has been.
    Mended(String),
    /// Someone else has changed the file: nothing is saved until [`Keeper::answer`].
    Ask(Question),
    /// The dance is now the one on the disk, with a new history; a sentence says where hers was put.
    Reloaded(String),
    /// Editing goes on in this file.
    Moved(PathBuf, String),
}

/// A file that someone else has changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question {
    /// What happened and what can be done, one sentence each.
    pub sentence: String,
    /// Whether the file is still there; without it [`Choice::Theirs`] makes no sense.
    pub there: bool,
}

/// What becomes of two versions of a dance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Choice {
    /// Hers is saved under another name, and edited there.
    KeepBoth,
    /// The one on the disk is taken; hers is put beside it as a copy.
    Theirs,
    /// Hers is saved over the one on the disk.
    Overwrite,
}

/// How leaving went.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ending {
    /// The file holds everything.
    Saved,
    /// The file does not, but the recovery journal does: a sentence for when the terminal is given back. Nothing is lost.
    Kept(String),
    /// Neither does: leaving now loses work. A sentence for the question whether to leave all the same.
    Lost(String),
}

/// Keeps one dance that is being edited.
#[derive(Debug)]
pub struct Keeper {
    path: PathBuf,
    places: Places,
    stamp: Stamp,
    lock: Lock,
    /// `None` once everything is saved and the dance is left.
    journal: Option<Journal>,
    journal_again: Option<Duration>,
    autosave: Autosave,
    saver: Saver,
    /// The state that is being written.
    saving: Option<Revision>,
    /// Whether she asked for it, and wants an answer even when nothing is new.
    asked_for: bool,
    question: Option<Question>,
    /// What was last complained of, for the journal and for the file, so that she is told once.
    journal_trouble: Option<String>,
    file_trouble: Option<String>,
}

impl Keeper {
    /// Keeps the dance in the file `path`, known by `stamp`, with a journal that is begun or continued.
    #[must_use]
    pub fn new(path: PathBuf, places: Places, stamp: Stamp, lock: Lock, journal: Journal) -> Self {
        Self {
            path,
            places,
            stamp,
            lock,
            journal: Some(journal),
            journal_again: None,
            autosave: Autosave::new(),
            saver: Saver::start(Box::new(OnDisk)),
            saving: None,
            asked_for: false,
            question: None,
            journal_trouble: None,
            file_trouble: None,
        }
    }

    /// The same, saving somewhere else than on the disk.
    #[must_use]
    pub fn with_store(self, store: Box<dyn Store>) -> Self {
        Self { saver: Saver::start(store), ..self }
    }

    /// The same for a dance that its file does not have yet: it is saved at the next [`Keeper::tick`].
    #[must_use]
    pub fn unsaved(mut self) -> Self {
        self.autosave.changed(Duration::ZERO);
        self
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The question that waits for an answer.
    #[must_use]
    pub fn question(&self) -> Option<&Question> {
        self.question.as_ref()
    }

    /// Whether the system really keeps other programs from editing the dance.
    #[must_use]
    pub fn is_sure(&self) -> bool {
        self.lock.is_sure()
    }

    /// Keeps a change, undo or redo in the journal; to be called after it was made and before the screen shows it.
    pub fn record(&mut self, record: &Record, now: Duration) -> Option<News> {
        self.autosave.changed(now);
        let journal = self.journal.as_mut()?;
        let refused = journal.append(record).err()?;
        self.journal_refused(&refused.to_string(), now)
    }

    /// The journal's medium failed: its other place is tried, then she is told.
    fn journal_refused(&mut self, why: &str, now: Duration) -> Option<News> {
        let journal = self.journal.as_mut()?;
        if journal.behind() > 0 && journal.move_to(&self.places.elsewhere_only()).is_ok() {
            self.journal_again = None;
            return None;
        }
        self.journal_again = Some(now.saturating_add(JOURNAL_AGAIN));
        let new = self.journal_trouble.as_deref() != Some(why);
        self.journal_trouble = Some(why.to_owned());
        new.then(|| News::Trouble(why.to_owned()))
    }

    /// Saves because she asked; the answer comes by [`Keeper::tick`], also when there is nothing new to save.
    pub fn save(&mut self, dance: &Dance, history: &mut History) {
        self.asked_for = true;
        self.file_trouble = None;
        if self.saving.is_none() && self.question.is_none() {
            self.begin(dance, history);
        }
    }

    fn begin(&mut self, dance: &Dance, history: &mut History) {
        self.saving = Some(history.begin_save());
        let job = Job { path: self.path.clone(), dance: dance.clone(), stamp: self.stamp };
        self.saver.begin(job);
    }

    /// Does what is due; to be called at every turn of the loop. It never waits.
    pub fn tick(&mut self, dance: &Dance, history: &mut History, now: Duration) -> Vec<News> {
        let mut news = Vec::new();
        news.extend(self.look_after_the_journal(now));
        if let Some(answer) = self.saving.and_then(|_| self.saver.answer()) {
            news.extend(self.saved(answer, history, now));
        }
        if self.asked_for && self.question.is_some() {
            self.asked_for = false;
            news.extend(self.question.clone().map(News::Ask));
        }
        let free = self.saving.is_none() && self.question.is_none();
        let due = self.autosave.due().is_some_and(|due| due <= now);
        if free && (due || self.asked_for) {
            if self.asked_for || history.unsaved() {
                self.begin(dance, history);
            } else {
                // Undone back to what the file holds.
                self.autosave.saved();
            }
        }
        news
    }

    fn look_after_the_journal(&mut self, now: Duration) -> Option<News> {
        let journal = self.journal.as_mut()?;
        let again = self.journal_again.is_some_and(|at| at <= now);
        let result = if again { journal.catch_up().err() } else { journal.trouble() };
        match result {
            Some(error) => self.journal_refused(&error.to_string(), now),
            None if again => {
                self.journal_again = None;
                self.journal_trouble = None;
                Some(News::Mended("the recovery copy can be written again: nothing is missing in it".into()))
            }
            None => None,
        }
    }

    /// What became of saving.
    fn saved(
        &mut self,
        answer: Result<Stamp, SaveError>,
        history: &mut History,
        now: Duration,
    ) -> Option<News> {
        let revision = self.saving.take()?;
        let asked_for = std::mem::take(&mut self.asked_for);
        match answer {
            Ok(stamp) => {
                self.stamp = stamp;
                self.file_trouble = None;
                history.saved(revision);
                self.autosave.saved();
                if history.unsaved() {
                    // Typed while the file was written.
                    self.autosave.changed(now);
                }
                if let (Some(journal), Some(stamp)) = (&mut self.journal, stamp)
                    && let Err(error) = journal.saved(revision, stamp)
                {
                    let why = error.to_string();
                    return self.journal_refused(&why, now).or(Some(News::Saved));
                }
                Some(News::Saved)
            }
            Err(SaveError::Changed { path }) if shelf::folder_of(&path).is_dir() => {
                let question = changed(&path);
                self.question = Some(question.clone());
                Some(News::Ask(question))
            }
            Err(error) => {
                self.autosave.failed(now);
                let why = match error {
                    // Not deleted by anyone: the whole drive is gone.
                    SaveError::Changed { path } => gone(&path),
                    // The same, where the program was started in a folder of that drive.
                    SaveError::Refused { path, source } if source.kind() == io::ErrorKind::NotFound => {
                        gone(&path)
                    }
                    refused @ SaveError::Refused { .. } => self.refused(&refused),
                };
                let new = asked_for || self.file_trouble.as_deref() != Some(why.as_str());
                self.file_trouble = Some(why.clone());
                new.then_some(News::Trouble(why))
            }
        }
    }

    /// A refusal in words, with where the work is meanwhile.
    fn refused(&self, error: &SaveError) -> String {
        let safe = self.journal.as_ref().is_some_and(|journal| journal.behind() == 0);
        let text = error.to_string();
        let what = text.strip_suffix("; save it somewhere else").unwrap_or(&text);
        if safe {
            format!("{what}; everything is in the recovery copy, and saving is tried again")
        } else {
            format!(
                "{what}; the work is only here on the screen: do not leave, and make room or save elsewhere"
            )
        }
    }

    /// When [`Keeper::tick`] has something to do next, whatever happens meanwhile; a saving that is on its way is not in it.
    #[must_use]
    pub fn due(&self) -> Option<Duration> {
        let save = self.autosave.due().filter(|_| self.saving.is_none() && self.question.is_none());
        [save, self.journal_again].into_iter().flatten().min()
    }

    /// Whether a file is being written: then [`Keeper::tick`] is to be called some ten times a second.
    #[must_use]
    pub fn is_saving(&self) -> bool {
        self.saving.is_some()
    }

    /// Does what she decided about a file that someone else has changed. It waits for the disk.
    pub fn answer(
        &mut self,
        choice: Choice,
        dance: &mut Dance,
        history: &mut History,
        now: Duration,
    ) -> News {
        let Some(question) = self.question.clone() else { return News::Saved };
        match choice {
            Choice::Overwrite => match shelf::stamp_of(&self.path) {
                // Of a file that is there again, and is another one, she does not know.
                Ok(stamp) if !question.there && stamp.is_some() && stamp != self.stamp => {
                    let question = changed(&self.path);
                    self.question = Some(question.clone());
                    News::Ask(question)
                }
                Ok(stamp) => {
                    self.stamp = stamp;
                    self.question = None;
                    self.begin(dance, history);
                    self.wait(history, now).unwrap_or(News::Saved)
                }
                Err(source) => {
                    News::Trouble(SaveError::Refused { path: self.path.clone(), source }.to_string())
                }
            },
            Choice::KeepBoth => self.keep_both(dance, history),
            Choice::Theirs if !question.there => News::Ask(question),
            Choice::Theirs => self.take_theirs(dance, history),
        }
    }

    /// Waits for the saving that was begun.
    fn wait(&mut self, history: &mut History, now: Duration) -> Option<News> {
        let answer = self.saver.wait(LEAVING)?;
        self.saved(answer, history, now)
    }

    fn keep_both(&mut self, dance: &Dance, history: &mut History) -> News {
        let path = free_name(&self.path);
        let places = Places::of(&path);
        let revision = history.begin_save();
        let saved = shelf::save(&path, dance, None);
        let stamp = match saved {
            Ok(stamp) => stamp,
            Err(error) => return News::Trouble(error.to_string()),
        };
        // Nobody can have it: the name is new.
        if let Ok(lock) = Lock::take(&places) {
            self.lock = lock;
        }
        let mut sentence = format!("your dance is now '{}'; the other one is as it was", shown(&path));
        if let Some(journal) = &mut self.journal {
            let moved = journal.move_to(&places);
            let noted = stamp.map_or(Ok(()), |stamp| journal.saved(revision, stamp));
            if let Err(error) = moved.and(noted) {
                sentence = format!("{sentence}; {error}");
            }
        }
        history.saved(revision);
        self.autosave.saved();
        (self.stamp, self.places, self.question) = (stamp, places, None);
        self.path.clone_from(&path);
        News::Moved(path, sentence)
    }

    fn take_theirs(&mut self, dance: &mut Dance, history: &mut History) -> News {
        let opened = match shelf::load(&self.path) {
            Ok(opened) => opened,
            Err(error) => return News::Trouble(error.to_string()),
        };
        if let Some(why) = opened.read_only {
            return News::Trouble(why);
        }
        let copy = free_name(&self.path);
        if let Err(error) = shelf::save(&copy, dance, None) {
            return News::Trouble(error.to_string());
        }
        *dance = opened.dance;
        *history = History::of_saved();
        self.stamp = opened.stamp;
        let fresh = Journal::new(&self.places, dance, self.stamp);
        if let Some(old) = self.journal.replace(fresh) {
            // What it held is in the copy.
            let _ = old.remove();
        }
        self.autosave.saved();
        (self.question, self.journal_again, self.journal_trouble) = (None, None, None);
        News::Reloaded(format!("this is the dance from the disk; yours is kept as '{}'", shown(&copy)))
    }

    /// Leaves the dance: saves what is unsaved, waiting for the disk, and removes the journal when nothing in it is
    /// needed. May be called again after trouble; dropping the keeper instead leaves the journal for recovery.
    pub fn finish(&mut self, dance: &Dance, history: &mut History, now: Duration) -> Ending {
        let mut last = None;
        if self.saving.is_some() {
            last = self.wait(history, now);
        }
        if history.unsaved() && self.question.is_none() && self.saving.is_none() {
            self.asked_for = true;
            self.begin(dance, history);
            last = self.wait(history, now);
        }
        if !history.unsaved() {
            if let Some(journal) = self.journal.take() {
                // A leftover does no harm: everything in it is in the file.
                let _ = journal.remove();
            }
            return Ending::Saved;
        }
        let why = match (&self.question, last) {
            (Some(question), _) => question.sentence.clone(),
            (None, Some(News::Trouble(why))) => why,
            (None, _) => format!("'{}' could not be saved in time", shown(&self.path)),
        };
        let safe =
            self.journal.as_mut().is_some_and(|journal| journal.catch_up().is_ok() && journal.behind() == 0);
        if !safe {
            return Ending::Lost(why);
        }
        Ending::Kept(format!(
            "the last changes to '{}' are in its recovery copy, not in the file: open it again to take them back in \
             ({why})",
            shown(&self.path)
        ))
    }
}

fn shown(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
}

fn gone(path: &Path) -> String {
    format!(
        "the folder of '{}' is gone, as when a drive is pulled out; your work is kept, and saved when it is back",
        shown(path)
    )
}

fn changed(path: &Path) -> Question {
    let there = path.exists();
    let name = shown(path);
    let sentence = if there {
        format!(
            "someone else has changed '{name}' since you opened it, so it is not overwritten: keep both, take theirs, or \
             save yours over it"
        )
    } else {
        format!(
            "'{name}' has been removed or renamed since you opened it: save it again, or save it under another name"
        )
    };
    Question { sentence, there }
}

/// A name beside a dance that is not taken: `goats.dance.json` becomes `goats-mine.dance.json`, then `goats-mine-2` ...
fn free_name(path: &Path) -> PathBuf {
    let name = shown(path);
    let (stem, ending) = match name.strip_suffix(".dance.json") {
        Some(stem) => (stem, ".dance.json"),
        None => name.find('.').filter(|at| *at > 0).map_or((name.as_str(), ""), |at| name.split_at(at)),
    };
    (1..)
        .map(|number| {
            let mark = if number == 1 { "-mine".to_owned() } else { format!("-mine-{number}") };
            path.with_file_name(format!("{stem}{mark}{ending}"))
        })
        .find(|path| !path.exists())
        .unwrap_or_else(|| path.to_owned())
}
