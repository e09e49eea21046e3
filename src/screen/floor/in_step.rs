//! Bringing sound and picture in step: a click a second, a figure that steps with it, and taps that say how far they are
//! apart. State and arithmetic only.

use super::keys::StepAction;
use crate::listening::TAP_LEAD;
use crate::shelf::TRIM_RANGE;
use crate::sound::Click;
use crate::units::Seconds;
use std::collections::BTreeMap;
use std::time::Duration;

/// From click to click, in seconds. So long that a tap can only belong to one of them.
pub(in crate::screen) const PERIOD: f64 = 1.0;
/// A tap belongs to the click that was at most so much later than it ...
const EARLY: f64 = 0.3;
/// So many taps are needed before anything is concluded from them ...
const LEAST: usize = 6;
/// ... and so many of the last are looked at.
const MOST: usize = 16;
/// A second tap that comes sooner is the key that bounced or repeats.
const BOUNCE: Duration = Duration::from_millis(300);
/// After so long without a tap, taps are counted from new.
const PAUSE: Duration = Duration::from_secs(5);
/// Taps that stray further than this from their middle (milliseconds, half of them) are told to be uneven.
const UNEVEN: f64 = 40.0;
/// How long the clicks go on.
pub(in crate::screen) const LENGTH: Seconds = Seconds(3_600.0);

/// What she taps along with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Sense {
    /// The clicks, as they are heard.
    #[default]
    Hearing,
    /// The steps of the figure, as they are seen; no click sounds.
    Seeing,
}

/// Where a trim comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Origin {
    /// Nobody has set one.
    #[default]
    None,
    /// It was given when the program was started.
    Given,
    /// It is remembered for this device.
    Remembered,
    /// It was found on this page and is not remembered.
    Tried,
}

/// The trim in force, what is known of devices, and the taps.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct InStep {
    /// What the device is called, once one was opened.
    pub device: Option<String>,
    /// How much later than the device says its sound is heard, in milliseconds.
    pub trim: i32,
    /// Where that comes from.
    pub origin: Origin,
    /// What she taps along with.
    pub sense: Sense,
    /// The remembered trims, by device.
    known: BTreeMap<String, i32>,
    /// The trim and its origin when the page was opened.
    before: (i32, Origin),
    /// How much later than its click each tap came, in milliseconds.
    heard: Vec<f64>,
    /// How much later than its step each tap came, in milliseconds.
    seen: Vec<f64>,
    last_tap: Option<Duration>,
}

/// What a key on the page comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Step {
    /// The trim may have changed.
    Trim,
    /// Clicks sound, or not.
    Click(bool),
    /// Leave, and remember the trim.
    Keep,
    /// Leave with the trim that was before.
    Leave,
}

impl InStep {
    /// With the trims that are remembered, and the one that was given for this time.
    #[must_use]
    pub fn new(known: BTreeMap<String, i32>, given: Option<i32>) -> Self {
        let origin = if given.is_some() { Origin::Given } else { Origin::None };
        Self { known, trim: given.unwrap_or(0), origin, ..Self::default() }
    }

    /// The device has been opened, or is another one; says whether the trim has changed by that.
    pub(super) fn plays_on(&mut self, device: &str) -> bool {
        if self.device.as_deref() == Some(device) {
            return false;
        }
        self.device = Some(device.to_owned());
        // What was given, or found by hand and not kept, stands for the first device only as long as it is that one.
        if self.origin == Origin::Given {
            return false;
        }
        let before = self.trim;
        let known = self.known.get(device).copied();
        self.origin = if known.is_some() { Origin::Remembered } else { Origin::None };
        self.trim = known.unwrap_or(0);
        self.trim != before
    }

    /// The page is opened.
    pub(super) fn open(&mut self) {
        self.before = (self.trim, self.origin);
        self.sense = Sense::Hearing;
        self.forget_taps();
    }

    fn forget_taps(&mut self) {
        self.heard.clear();
        self.seen.clear();
        self.last_tap = None;
    }

    /// A key. `at` is where the clicks are, as the trim has it; `now` the time of the key.
    pub(super) fn act(&mut self, action: StepAction, at: Seconds, now: Duration) -> Step {
        match action {
            StepAction::Tap => {
                self.tap(at, now);
                return Step::Trim;
            }
            StepAction::Move(by) => self.set(self.trim + by),
            StepAction::Zero => self.set(0),
            StepAction::Sense => {
                self.last_tap = None;
                return match self.sense {
                    Sense::Hearing => {
                        self.sense = Sense::Seeing;
                        self.seen.clear();
                        Step::Click(false)
                    }
                    Sense::Seeing => {
                        self.sense = Sense::Hearing;
                        self.conclude();
                        Step::Click(true)
                    }
                };
            }
            StepAction::Keep => {
                self.conclude();
                self.origin = Origin::Tried;
                if let Some(device) = &self.device {
                    self.known.insert(device.clone(), self.trim);
                    self.origin = Origin::Remembered;
                }
                return Step::Keep;
            }
            StepAction::Leave => {
                (self.trim, self.origin) = self.before;
                return Step::Leave;
            }
        }
        Step::Trim
    }

    /// A trim of her own choice; taps before it count no more.
    fn set(&mut self, trim: i32) {
        self.forget_taps();
        self.trim = trim.clamp(*TRIM_RANGE.start(), *TRIM_RANGE.end());
        self.origin = Origin::Tried;
    }

    fn tap(&mut self, at: Seconds, now: Duration) {
        if let Some(last) = self.last_tap {
            if now.saturating_sub(last) < BOUNCE {
                return;
            }
            if now.saturating_sub(last) > PAUSE {
                self.taps_mut().clear();
            }
        }
        self.last_tap = Some(now);
        // The picture is drawn for `at`; the device says that it sounds a trim later than that.
        let place = match self.sense {
            Sense::Hearing => at.0 + f64::from(self.trim) / 1_000.0,
            Sense::Seeing => at.0,
        };
        let late = (place + EARLY).rem_euclid(PERIOD) - EARLY;
        let taps = self.taps_mut();
        taps.push(1_000.0 * late);
        if taps.len() > MOST {
            taps.remove(0);
        }
        // What she sees must not jump while she taps along with it.
        if self.sense == Sense::Hearing {
            self.conclude();
        }
    }

    fn taps_mut(&mut self) -> &mut Vec<f64> {
        match self.sense {
            Sense::Hearing => &mut self.heard,
            Sense::Seeing => &mut self.seen,
        }
    }

    /// Sets the trim by the taps: how late the sound is heard less how late the picture is seen, each the middle of its
    /// taps with the lead taken out by which people tap before a beat. With taps of one kind, the other is taken for prompt.
    fn conclude(&mut self) {
        let late = |taps: &[f64]| (taps.len() >= LEAST).then(|| median(taps) + 1_000.0 * TAP_LEAD.0);
        let trim = match (late(&self.heard), late(&self.seen)) {
            (None, None) => return,
            (heard, seen) => heard.unwrap_or(0.0) - seen.unwrap_or(0.0),
        };
        self.trim = (trim.round() as i32).clamp(*TRIM_RANGE.start(), *TRIM_RANGE.end());
        self.origin = Origin::Tried;
    }

    /// What the taps say so far.
    pub(super) fn taps_in_words(&self) -> String {
        let (taps, what) = match self.sense {
            Sense::Hearing => (&self.heard, "what you hear"),
            Sense::Seeing => (&self.seen, "what you see"),
        };
        match taps.len() {
            0 => format!("tap space with {what}"),
            n if n < LEAST => format!("{n} {}, {LEAST} are needed", if n == 1 { "tap" } else { "taps" }),
            n => {
                let middle = median(taps);
                let away: Vec<f64> = taps.iter().map(|tap| (tap - middle).abs()).collect();
                let even = median(&away);
                let how = if even > UNEVEN { "uneven: tap on" } else { "even" };
                format!("{n} taps, half within {even:.0} ms: {how}")
            }
        }
    }
}

/// The middle of some numbers, which are not none.
fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    if sorted.len() % 2 == 1 { sorted[half] } else { 0.5 * (sorted[half - 1] + sorted[half]) }
}

/// A trim in words.
#[must_use]
pub(super) fn in_words(trim: i32) -> String {
    match trim {
        0 => "the picture comes when the device says the sound does".to_owned(),
        1.. => format!("the picture waits {trim} ms for the sound"),
        _ => format!("the picture goes {} ms ahead of the sound", trim.unsigned_abs()),
    }
}

/// The clicks of the page: one a second, every fourth higher.
pub(in crate::screen) fn clicks() -> Vec<Click> {
    (0..(LENGTH.0 / PERIOD) as u32)
        .map(|n| Click { at: Seconds(f64::from(n) * PERIOD), high: n % 4 == 0, always: false })
        .collect()
}
