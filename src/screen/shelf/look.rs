//! Looking at dances: what is kept of them, at once; the others on a thread of its own. Nothing is decoded here.

use super::state::{Slip, State};
use crate::check::{check, rules_page};
use crate::dance::MoveBook;
use crate::lesson::Glance;
use crate::recording::DecodeError;
use crate::shelf::{self, Cache, Found, Heard, Known, Stand, folder_of};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::Duration;

/// What is kept of a dance: its glance, and which recording it named.
type Kept = (String, Glance);

/// Where the recording of a dance lies, told from the file's text without reading all of it.
#[derive(serde::Deserialize)]
struct Head {
    recording: Named,
}

#[derive(serde::Deserialize)]
struct Named {
    path: String,
}

/// Looks at dances, on a thread of its own where it takes long. It ends when this is dropped, after the dance in hand.
#[derive(Debug)]
pub struct Looker {
    answers: Receiver<(PathBuf, State)>,
    over: Arc<AtomicBool>,
}

/// The form of what is kept: it hangs on the version of the program and on the words of every rule.
fn form() -> String {
    format!("glance 1, {}, {}", env!("CARGO_PKG_VERSION"), rules_page())
}

impl Looker {
    /// The dances in these files, as far as they are known at once, and what tells of the others.
    #[must_use]
    pub fn start(paths: &[PathBuf], cache: Cache) -> (Vec<Slip>, Self) {
        let mut stand: Stand<Kept> = Stand::open(&cache, &form());
        let mut slips = Vec::with_capacity(paths.len());
        let mut others = Vec::new();
        for path in paths {
            let kept = fs::read(path).ok().and_then(|bytes| kept(&stand, path, &bytes));
            if kept.is_none() {
                others.push(path.clone());
            }
            let state = kept.map_or(State::Coming, |glance| State::Known(Box::new(glance)));
            slips.push(Slip { path: path.clone(), name: name(path), state });
        }
        let (tell, answers) = channel();
        let over = Arc::new(AtomicBool::new(false));
        let stop = Arc::clone(&over);
        let looking = move || {
            let book = MoveBook::built_in();
            for path in others {
                if stop.load(Ordering::Relaxed) {
                    break;
                }
                let state = look(&path, &cache, &book);
                if let (State::Known(glance), Ok(bytes)) = (&state, fs::read(&path))
                    // Of a recording that was not heard more may be known the next time.
                    && glance.heard
                    && let Some((named, known)) = known(&path, &bytes)
                {
                    stand.put(&known, (named, (**glance).clone()));
                }
                if tell.send((path, state)).is_err() {
                    break;
                }
            }
            stand.save();
        };
        // Without a thread the dances stay unknown; they can be opened all the same.
        let _ = thread::Builder::new().name("looking".into()).spawn(looking);
        (slips, Self { answers, over })
    }

    /// What has become known, waited for a little.
    #[must_use]
    pub fn answer(&self, at_most: Duration) -> Option<(PathBuf, State)> {
        self.answers.recv_timeout(at_most).ok()
    }
}

impl Drop for Looker {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
    }
}

/// The recording that a dance names, and what both are known by.
fn known(path: &Path, bytes: &[u8]) -> Option<(String, Known)> {
    let head: Head = serde_json::from_slice(bytes).ok()?;
    let known = Known::of(bytes, &folder_of(path).join(&head.recording.path))?;
    Some((head.recording.path, known))
}

fn kept(stand: &Stand<Kept>, path: &Path, bytes: &[u8]) -> Option<Glance> {
    let (named, known) = known(path, bytes)?;
    let (of, glance) = stand.get(&known)?;
    (*of == named).then(|| glance.clone())
}

/// The file's name without its ending.
fn name(path: &Path) -> String {
    let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    name.strip_suffix(".dance.json").unwrap_or(&name).to_owned()
}

/// Looks at one dance: it is opened and checked with what is remembered of its recording, which is not listened to.
#[must_use]
pub fn look(path: &Path, cache: &Cache, book: &MoveBook) -> State {
    let opened = match shelf::load(path) {
        Ok(opened) => opened,
        Err(error) => return State::Broken(error.to_string()),
    };
    let found = shelf::recording_for(&opened.dance, path, &mut |path| remembered(path, cache));
    let heard = match found {
        Found::AsNamed(heard) | Found::Resembling(heard) | Found::Renamed(heard, _) => Some(heard),
        Found::Different(..) | Found::Missing(_) | Found::Broken(_) => None,
    };
    let listening = heard.as_ref().map(|heard| &heard.listening);
    let report = check(&opened.dance, listening);
    State::Known(Box::new(Glance::of(&opened.dance, listening, &report, book)))
}

/// What is remembered of a recording; one that nobody has listened to yet counts as not there.
fn remembered(path: &Path, cache: &Cache) -> Result<(crate::identity::Identity, Heard), DecodeError> {
    let missing = || DecodeError::Missing { file: path.display().to_string() };
    let key = Cache::key(path).map_err(|_| missing())?;
    let heard = cache.get(&key).ok_or_else(missing)?;
    Ok((heard.identity.clone(), heard))
}
