//! Listening while decoding: the sound goes by once, and each ear hears it on a thread of its own.

use crate::listening::{self, Ear, Evidence, Listening, Memory, Metering};
use crate::recording::{self, DecodeError, Particulars, Piece};
use std::collections::VecDeque;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::{Scope, ScopedJoinHandle, scope};

/// Samples handed to the ears at once, at most, unless a packet has more: 0.7 s of stereo at 44.1 kHz, a quarter of a megabyte.
const BLOCK: usize = 1 << 16;
/// Blocks that may wait for an ear; then the decoder waits, so that memory stays small.
const AHEAD: usize = 4;

/// What came of listening to a recording.
#[derive(Debug, Clone)]
pub struct Ears {
    /// What is known of the file.
    pub known: Particulars,
    /// What was heard.
    pub listening: Listening,
    /// What it takes to hear the grid again with other anchors.
    pub memory: Memory,
}

/// Decodes the recording at `path` and listens meanwhile. `keep` gets every piece too; `progress` hears as in
/// [`recording::decode`].
///
/// # Errors
/// [`DecodeError`].
pub fn listen(
    path: &Path,
    keep: &mut dyn FnMut(&[f32]),
    progress: &mut dyn FnMut(f32),
) -> Result<Ears, DecodeError> {
    scope(|scope| {
        let mut ears: Option<Threads> = None;
        let mut sink = |Piece { samples, channels, rate }: Piece| {
            keep(samples);
            ears.get_or_insert_with(|| {
                Threads::start(scope, Ear::new(channels, rate), Metering::new(channels, rate))
            })
            .hear(samples);
        };
        let known = recording::stream(path, &mut sink, progress)?;
        let ears = ears.unwrap_or_else(|| {
            // The decoder refuses a recording without sound, so there was a piece; if not, this hears silence.
            Threads::start(
                scope,
                Ear::new(known.channels, known.rate),
                Metering::new(known.channels, known.rate),
            )
        });
        let (listening, memory) = ears.finish();
        Ok(Ears { known, listening, memory })
    })
}

/// Two threads that hear the same blocks.
struct Threads<'scope> {
    block: Vec<f32>,
    /// The last blocks that were sent, oldest first: their memory is used again, since new memory costs more than what is done
    /// with it.
    sent: VecDeque<Arc<Vec<f32>>>,
    senders: [SyncSender<Arc<Vec<f32>>>; 2],
    grid: ScopedJoinHandle<'scope, (listening::HeardGrid, Evidence)>,
    envelope: ScopedJoinHandle<'scope, listening::Envelope>,
}

impl<'scope> Threads<'scope> {
    fn start(scope: &'scope Scope<'scope, '_>, mut ear: Ear, mut metering: Metering) -> Self {
        type Blocks = Receiver<Arc<Vec<f32>>>;
        let (to_ear, blocks): (_, Blocks) = sync_channel(AHEAD);
        let grid = scope.spawn(move || {
            blocks.iter().for_each(|block| ear.push(&block));
            let evidence = ear.finish();
            (listening::decode(&evidence, &[]), evidence)
        });
        let (to_meter, blocks): (_, Blocks) = sync_channel(AHEAD);
        let envelope = scope.spawn(move || {
            blocks.iter().for_each(|block| metering.push(&block));
            metering.finish()
        });
        let sent = VecDeque::new();
        Self { block: Vec::with_capacity(BLOCK), sent, senders: [to_ear, to_meter], grid, envelope }
    }

    fn hear(&mut self, samples: &[f32]) {
        // Before it would grow: that would copy it.
        if self.block.len() + samples.len() > BLOCK && !self.block.is_empty() {
            self.send();
        }
        self.block.extend_from_slice(samples);
    }

    fn send(&mut self) {
        // So many blocks may be with an ear; the one before them is not any more.
        let free = if self.sent.len() > AHEAD + 1 { self.sent.pop_front() } else { None };
        let mut next = free.and_then(Arc::into_inner).unwrap_or_else(|| Vec::with_capacity(BLOCK));
        next.clear();
        let block = Arc::new(std::mem::replace(&mut self.block, next));
        for sender in &self.senders {
            // A thread that is gone has panicked, and says so when it is joined.
            let _ = sender.send(Arc::clone(&block));
        }
        self.sent.push_back(block);
    }

    fn finish(mut self) -> (Listening, Memory) {
        self.send();
        // Closed channels are how the threads know that this was all.
        drop(self.senders);
        let envelope = joined(self.envelope);
        let (grid, evidence) = joined(self.grid);
        let listening = listening::describe_with_attacks(&envelope, &evidence.attacks(), grid);
        (listening, Memory { evidence, envelope })
    }
}

/// What a thread gives, or its panic carried on here.
fn joined<T>(thread: ScopedJoinHandle<'_, T>) -> T {
    thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::ops::ControlFlow;

    #[test]
    fn ears_on_threads_hear_what_one_pass_over_the_whole_hears() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/demo/cat-on-the-stairs.ogg");
        let whole = recording::decode(&path, &mut |_| {}).expect("the demo is whole");
        let (mut kept, mut told) = (Vec::new(), Vec::new());
        let Ears { known, listening: heard, memory } =
            listen(&path, &mut |piece| kept.extend_from_slice(piece), &mut |part| told.push(part))
                .expect("the demo is whole");
        assert_eq!(kept, whole.samples.as_ref());
        assert_eq!(known.identity, whole.identity);
        assert!(told.is_sorted() && told.last() == Some(&1.0), "{told:?}");
        let alone = listening::listen(&whole.samples, whole.channels, whole.rate, &[], &mut |_| {
            ControlFlow::Continue(())
        });
        assert_eq!(Some(&heard), alone.as_ref());
        assert_eq!(memory.describe(memory.grid(&[])), heard);
        assert_eq!(memory.sureness(&memory.grid(&[]).grid), heard.sureness);
    }

    #[test]
    fn what_cannot_be_decoded_leaves_no_thread_waiting() {
        let missing = listen(Path::new("no such file"), &mut |_| {}, &mut |_| {});
        assert!(matches!(missing, Err(DecodeError::Missing { .. })));
    }
}
