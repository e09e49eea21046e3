//! What is slow, on threads of its own: finding the recording, listening to it, decoding it to be played, and hearing
//! the grid again with the teacher's corrections.

use crate::dance::Dance;
use crate::grid::{Anchor, Grid};
use crate::identity::Identity;
use crate::listening::{Listening, Memory, Remembered, Sureness};
use crate::recording::{self, DecodeError, Recording, Store};
use crate::shelf::{self, Cache, FileKey, Found, Heard};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;
use std::time::Duration;

/// What a worker has to say, in the order in which it comes.
#[derive(Debug)]
pub enum Answer {
    /// The recording was found; a sentence where something about it is to be known.
    Found(Option<String>),
    /// It was not, or cannot be used: why. Nothing else comes; the dance can be edited without it.
    NoRecording(String),
    /// How much of it has been listened to, 0 to 1, about ten times a second; only of a recording that is not remembered.
    Progress(f32),
    /// What was heard, without the dance's corrections.
    Heard(Box<Listening>),
    /// From here on [`Workers::hear_again`] is answered. How sure each bar of the dance's own grid is, and a sentence
    /// where this version of the program hears the beats otherwise than the dance has them.
    Repairable {
        /// One a bar.
        sureness: Vec<Sureness>,
        /// Shown once, before the first correction: the comparison tells what it moved.
        otherwise: Option<String>,
    },
    /// The sound, to be played.
    Sound(Box<Recording>),
    /// The grid, heard again.
    Again(Box<Again>),
}

/// A grid that was heard again.
#[derive(Debug, Clone, PartialEq)]
pub struct Again {
    /// The request that this answers.
    pub number: u64,
    /// The grid, its times rounded as in a dance file; empty when these corrections leave no beat.
    pub grid: Grid,
    /// How sure each of its bars is.
    pub sureness: Vec<Sureness>,
    /// Everything else, on this grid: for the check.
    pub listening: Listening,
}

/// A request to hear the grid again.
struct Request {
    number: u64,
    anchors: Vec<Anchor>,
}

/// The threads behind one dance that is edited. They end when this is dropped, each after what it has in hand.
#[derive(Debug)]
pub struct Workers {
    requests: Sender<Request>,
    answers: Receiver<Answer>,
    over: Arc<AtomicBool>,
}

/// How answers reach the loop.
#[derive(Clone)]
struct Telling {
    answers: Sender<Answer>,
    wake: Arc<dyn Fn() + Send + Sync>,
    over: Arc<AtomicBool>,
}

impl Telling {
    /// Whether anyone still listens.
    fn tell(&self, answer: Answer) -> bool {
        let heard = !self.over.load(Ordering::Relaxed) && self.answers.send(answer).is_ok();
        if heard {
            (self.wake)();
        }
        heard
    }
}

impl Workers {
    /// Starts to look for the recording of `dance`, whose file is `path`. `wake` is called, on another thread, whenever
    /// an answer is ready.
    #[must_use]
    pub fn start(dance: &Dance, path: &Path, cache: Cache, wake: impl Fn() + Send + Sync + 'static) -> Self {
        let (answers, answered) = channel();
        let (requests, requested) = channel();
        let over = Arc::new(AtomicBool::new(false));
        let telling = Telling { answers, wake: Arc::new(wake), over: Arc::clone(&over) };
        let (dance, path, lost) = (dance.clone(), path.to_owned(), telling.clone());
        let started = thread::Builder::new().name("listening".into()).spawn(move || {
            work(&dance, &path, &cache, requested, &telling);
        });
        if started.is_err() {
            lost.tell(Answer::NoRecording("the system gives no more threads: close other programs".into()));
        }
        Self { requests, answers: answered, over }
    }

    /// The next answer, if there is one. It never waits.
    #[must_use]
    pub fn answer(&self) -> Option<Answer> {
        self.answers.try_recv().ok()
    }

    /// The next answer, waited for: for a first picture that has contours where the recording is remembered.
    #[must_use]
    pub fn wait(&self, at_most: Duration) -> Option<Answer> {
        self.answers.recv_timeout(at_most).ok()
    }

    /// Asks to hear the grid with these corrections. Of several requests only the newest is answered. It never waits.
    pub fn hear_again(&self, number: u64, anchors: Vec<Anchor>) {
        // Without a recording nobody is there to answer, which was said.
        let _ = self.requests.send(Request { number, anchors });
    }
}

impl Drop for Workers {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
    }
}

/// A file that may be the recording: where, and what is remembered of it.
struct Candidate {
    path: PathBuf,
    key: Option<FileKey>,
    heard: Option<Heard>,
}

fn work(dance: &Dance, path: &Path, cache: &Cache, requests: Receiver<Request>, telling: &Telling) {
    let found = shelf::recording_for(dance, path, &mut |path| candidate(path, cache));
    let candidate = match usable(found, dance) {
        Ok((candidate, note)) => {
            telling.tell(Answer::Found(note));
            candidate
        }
        Err(why) => {
            telling.tell(Answer::NoRecording(why));
            return;
        }
    };
    let remembered =
        candidate.heard.and_then(|heard| Some((heard.listening, cache.memory(candidate.key.as_ref()?)?)));
    let (memory, sound) = match remembered {
        Some((listening, memory)) => {
            telling.tell(Answer::Heard(Box::new(listening)));
            (memory, None)
        }
        None => match listen(&candidate.path, candidate.key.as_ref(), cache, telling) {
            Ok((memory, sound)) => (memory, Some(sound)),
            Err(error) => {
                telling.tell(Answer::NoRecording(error.to_string()));
                return;
            }
        },
    };
    let repairs = (dance.clone(), telling.clone());
    let repairing = thread::Builder::new().name("hearing again".into()).spawn(move || {
        let (dance, telling) = repairs;
        hear_again(&memory, &dance, &requests, &telling);
    });
    // Without the thread the beats cannot be repaired now, but all else goes on.
    drop(repairing);
    let sound = sound.map_or_else(|| recording::decode(&candidate.path, &mut |_| {}), Ok);
    telling.tell(match sound {
        Ok(sound) => Answer::Sound(Box::new(sound)),
        Err(error) => Answer::NoRecording(error.to_string()),
    });
}

fn candidate(path: &Path, cache: &Cache) -> Result<(Identity, Candidate), DecodeError> {
    // An unreadable file is left to the decoder, whose sentence is better.
    let key = Cache::key(path).ok();
    let heard = key.as_ref().and_then(|key| cache.get(key));
    let identity = match &heard {
        Some(heard) => heard.identity.clone(),
        None => recording::stream(path, &mut |_| {}, &mut |_| {})?.identity,
    };
    Ok((identity, Candidate { path: path.to_owned(), key, heard }))
}

/// The recording to use and what is to be known about it, or why there is none.
fn usable(
    found: Found<Candidate, DecodeError>,
    dance: &Dance,
) -> Result<(Candidate, Option<String>), String> {
    let named = &dance.recording.path;
    match found {
        Found::AsNamed(it) => Ok((it, None)),
        Found::Resembling(it) => {
            let note = format!(
                "'{named}' has changed but is as long as it was: listen whether the counts still fit"
            );
            Ok((it, Some(note)))
        }
        Found::Renamed(it, path) => {
            let note =
                format!("'{named}' is not there, but '{}' is the same recording and is used", shown(&path));
            Ok((it, Some(note)))
        }
        Found::Different(_, path) => Err(format!(
            "'{}' is not the recording this dance was made for: no sound, and the beats cannot be repaired",
            shown(&path)
        )),
        Found::Missing(path) => Err(format!(
            "the recording '{}' is missing: no sound, and the beats cannot be repaired; put it beside the dance",
            shown(&path)
        )),
        Found::Broken(error) => Err(error.to_string()),
    }
}

fn shown(path: &Path) -> String {
    path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

/// Listens to a recording that is not remembered, and remembers it.
fn listen(
    path: &Path,
    key: Option<&FileKey>,
    cache: &Cache,
    telling: &Telling,
) -> Result<(Memory, Recording), DecodeError> {
    let mut store = Store::default();
    let mut told = 0.0;
    let ears = shelf::listen(path, &mut |piece| store.push(piece), &mut |part| {
        if part - told >= 0.02 {
            told = part;
            telling.tell(Answer::Progress(part));
        }
    })?;
    let recording = store.into_recording(ears.known);
    let heard = Heard {
        identity: recording.identity.clone(),
        tags: recording.tags.clone(),
        warnings: recording.warnings.clone(),
        listening: ears.listening,
    };
    if let Some(key) = key {
        cache.put(key, &heard);
        cache.put_memory(key, &ears.memory);
    }
    telling.tell(Answer::Heard(Box::new(heard.listening)));
    Ok((ears.memory, recording))
}

/// Answers requests, the newest first and the others never.
fn hear_again(memory: &Memory, dance: &Dance, requests: &Receiver<Request>, telling: &Telling) {
    let sureness = memory.sureness(&dance.grid);
    let mut remembered = Remembered::default();
    let now = memory.grid_again(&dance.anchors, &mut remembered).grid.rounded();
    let otherwise = (!same_beats(&now, &dance.grid)).then(|| {
        "the beats of this dance were heard by another version of the program: a correction lets this one hear them all \
         again"
            .to_owned()
    });
    if !telling.tell(Answer::Repairable { sureness, otherwise }) {
        return;
    }
    while let Ok(mut request) = requests.recv() {
        while let Ok(newer) = requests.try_recv() {
            request = newer;
        }
        let heard = memory.grid_again(&request.anchors, &mut remembered);
        let (grid, sureness) = (heard.grid.clone().rounded(), heard.sureness.clone());
        let listening = memory.describe(heard);
        let again = Again { number: request.number, grid, sureness, listening };
        if !telling.tell(Answer::Again(Box::new(again))) {
            return;
        }
    }
}

/// Whether two grids have the same beats, to a millisecond.
fn same_beats(a: &Grid, b: &Grid) -> bool {
    a.len() == b.len() && a.beats().iter().zip(b.beats()).all(|(a, b)| (a.0 - b.0).abs() < 1e-3)
}
