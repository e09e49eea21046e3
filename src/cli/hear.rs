//! Decoding and listening with a progress bar and a memory, shared by the commands.

use super::arguments::Hearing;
use super::listen::file_name;
use super::{Output, Problem};
use crate::dance::Dance;
use crate::listening::Memory;
use crate::recording::{self, Recording, Store};
use crate::shelf::{self, Cache, Ears, FileKey, Found, Heard};
use std::path::Path;

/// What is heard in the recording at `path`: remembered, or decoded and listened to.
///
/// # Errors
/// [`Problem::Decode`].
pub(super) fn hear(path: &Path, hearing: &Hearing, output: &Output) -> Result<Heard, Problem> {
    let cache = cache(hearing);
    // An unreadable file is left to the decoder, whose sentence is better.
    let key = Cache::key(path).ok();
    if let Some(heard) = key.as_ref().and_then(|key| cache.get(key)) {
        return Ok(heard);
    }
    Ok(listened(path, &cache, key.as_ref(), output)?.0)
}

/// What is heard in the recording at `path`, and what it takes to hear its grid again: remembered, or listened to.
///
/// # Errors
/// [`Problem::Decode`].
pub(super) fn remember(path: &Path, hearing: &Hearing, output: &Output) -> Result<(Heard, Memory), Problem> {
    let cache = cache(hearing);
    let key = Cache::key(path).ok();
    if let Some(known) = key.as_ref().and_then(|key| cache.get(key).zip(cache.memory(key))) {
        return Ok(known);
    }
    listened(path, &cache, key.as_ref(), output)
}

/// Listens, and remembers what was heard.
fn listened(
    path: &Path,
    cache: &Cache,
    key: Option<&FileKey>,
    output: &Output,
) -> Result<(Heard, Memory), Problem> {
    let Ears { known, listening, memory } = listen(path, &mut |_| {}, output)?;
    let heard = Heard { identity: known.identity, tags: known.tags, warnings: known.warnings, listening };
    if let Some(key) = key {
        cache.put(key, &heard);
        cache.put_memory(key, &memory);
    }
    Ok((heard, memory))
}

/// The samples of the recording at `path`, and what is heard in them.
///
/// # Errors
/// [`Problem::Decode`].
pub(super) fn open(path: &Path, hearing: &Hearing, output: &Output) -> Result<(Recording, Heard), Problem> {
    let cache = cache(hearing);
    let key = Cache::key(path).ok();
    if let Some(heard) = key.as_ref().and_then(|key| cache.get(key)) {
        let mut progress = output.progress("decoding ");
        let recording = recording::decode(path, &mut |part| progress.done(part))?;
        return Ok((recording, heard));
    }
    let mut store = Store::default();
    let ears = listen(path, &mut |piece| store.push(piece), output)?;
    let recording = store.into_recording(ears.known);
    let heard = Heard {
        identity: recording.identity.clone(),
        tags: recording.tags.clone(),
        warnings: recording.warnings.clone(),
        listening: ears.listening,
    };
    if let Some(key) = key {
        cache.put(&key, &heard);
        cache.put_memory(&key, &ears.memory);
    }
    Ok((recording, heard))
}

/// The recording that was found for a dance, or `None` when there is none to use; what is amiss is said on the way.
pub(super) fn usable<T>(found: Found<T, Problem>, dance: &Dance, output: &mut Output) -> Option<T> {
    match found {
        Found::AsNamed(it) => Some(it),
        Found::Resembling(it) => {
            output.remark(format_args!(
                "note: '{}' has changed since the dance was made, but is as long as it was; listen once whether the \
                 counts still fit",
                dance.recording.path
            ));
            Some(it)
        }
        Found::Renamed(it, path) => {
            output.remark(format_args!(
                "note: '{}' is not where the dance says, but '{}' is the same recording and is used",
                dance.recording.path,
                file_name(&path)
            ));
            Some(it)
        }
        Found::Different(_, path) => {
            output.remark(format_args!(
                "note: '{}' is not the recording this dance was made for (another transfer or another piece), so it \
                 is not used; put the right file there, or draft a dance for this one",
                file_name(&path)
            ));
            None
        }
        Found::Missing(path) => {
            output.remark(format_args!(
                "note: the recording '{}' is missing; put it beside the dance, under any name",
                file_name(&path)
            ));
            None
        }
        Found::Broken(problem) => {
            output.remark(format_args!("note: {problem}"));
            None
        }
    }
}

/// The memory of what was heard, or none.
pub(super) fn cache(hearing: &Hearing) -> Cache {
    if hearing.no_cache { Cache::default() } else { Cache::of_this_user() }
}

/// Decodes and listens in one go; `keep` gets the samples as they come.
fn listen(path: &Path, keep: &mut dyn FnMut(&[f32]), output: &Output) -> Result<Ears, Problem> {
    let mut progress = output.progress("listening");
    Ok(shelf::listen(path, keep, &mut |part| progress.done(part))?)
}
