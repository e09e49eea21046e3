//! What the screen, the callback and the thread that opens devices say to each other: atomics, never a lock.

use super::heard::{Command, Report};
use super::published::Published;
use std::sync::atomic::{AtomicBool, AtomicU64};

/// What the screen, the callback and the thread that opens devices share.
#[derive(Debug)]
pub(super) struct Shared {
    /// Written by the screen.
    pub(super) command: Published<8>,
    /// Written by the callback of the current stream.
    pub(super) report: Published<9>,
    /// The current stream, 0 when there is none.
    pub(super) stream: AtomicU64,
    /// Whether a device was looked for at least once.
    pub(super) tried: AtomicBool,
    /// When the callback last ran.
    #[cfg_attr(not(feature = "playback"), allow(dead_code, reason = "only a device is watched"))]
    pub(super) pulse: AtomicU64,
    /// How often the device ran dry.
    pub(super) dry: AtomicU64,
}

impl Shared {
    pub(super) fn new() -> Self {
        Self {
            command: Published::new(Command::START.words()),
            report: Published::new(Report::NONE.words()),
            stream: AtomicU64::new(0),
            tried: AtomicBool::new(false),
            pulse: AtomicU64::new(0),
            dry: AtomicU64::new(0),
        }
    }
}
