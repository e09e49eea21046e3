//! Pace: how the speed of the music changes, whatever is taken for its beat.
//!
//! The rhythm of a few seconds, seen on a logarithmic axis of time spans, keeps its shape when the tempo changes and
//! merely moves along the axis. How far it has moved from one stretch to the next is the change of tempo, and that
//! is heard without deciding what the beat is: so a beat that was once found can be held at its metrical level.

use super::curve::mean;
use super::spectra::FPS;
use serde::{Deserialize, Serialize};

/// Frames between two measurements.
const HOP: usize = FPS / 2;
/// Length of the stretches that are compared; they touch at the instant that is measured.
const STRETCH: usize = 5 * FPS;
/// Seconds between the middles of the two stretches.
const APART: f32 = STRETCH as f32 / FPS as f32;
/// Spans of time between attacks that are looked at, in frames, on a logarithmic axis.
const SHORTEST: f32 = 15.0;
const LONGEST: usize = 240;
/// Steps of that axis in an octave.
pub(crate) const PER_OCTAVE: usize = 36;
/// Largest change from one stretch to the next: a gradual one, and a jump.
const GRADUAL: usize = 8;
const JUMP: usize = 26;
/// How much a change must explain the rhythm better than none, for each step of its size.
const RELUCTANCE: f32 = 0.02;
/// Price of changing the gradual change from one measurement to the next, for each step.
const INERTIA: f32 = 0.12;
/// A jump is heard where it explains the rhythm so much better than any gradual change.
const JUMP_MARGIN: f32 = 0.2;

/// Attacks weaker than this are not counted.
const COUNTED: f32 = 0.5;
/// Price of a jump that disagrees by an octave with the change of how many attacks there are.
const DENSITY: f32 = 0.3;

/// Changes of tempo, heard without a beat.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Pace {
    /// Logarithm (base 2) of the tempo relative to the beginning, every half second, without the jumps.
    pub octaves: Vec<f32>,
    /// How well one tempo explains the rhythm across each of these instants, about 0 (not at all) to 1.
    pub steadiness: Vec<f32>,
    /// Places where the tempo may have jumped.
    pub jumps: Vec<PaceJump>,
}

/// A jump of tempo that would explain the rhythm better than none.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PaceJump {
    /// When, in seconds, within two seconds or so: less than half of one of the stretches that are compared.
    pub at: f32,
    /// Logarithm (base 2) of the ratio of tempi, positive for faster.
    pub octaves: f32,
    /// How much better, about 0 to 1.
    pub strength: f32,
}

impl Pace {
    /// Frames between the entries of the curves.
    pub(crate) const HOP: usize = HOP;

    /// From the onset curve; all empty for less than two stretches.
    pub(crate) fn new(onset: &[f32]) -> Self {
        let rhythms = rhythms(onset);
        let stride = STRETCH / HOP;
        if rhythms.len() <= stride {
            return Self::default();
        }
        let matches: Vec<Vec<f32>> =
            (stride..rhythms.len()).map(|n| shifted_matches(&rhythms[n - stride], &rhythms[n])).collect();
        let gradual = gradual_changes(&matches);
        // Before the first and after the last measurement their change goes on.
        let hops = onset.len().div_ceil(HOP) + 1;
        let at = |hop: usize| hop.saturating_sub(stride).min(matches.len() - 1);
        let mut octaves = Vec::with_capacity(hops);
        let mut sum = 0.0;
        for hop in 0..hops {
            octaves.push(sum);
            sum += gradual[at(hop)] / PER_OCTAVE as f32 * (HOP as f32 / FPS as f32) / APART;
        }
        let steadiness = (0..hops).map(|hop| best_gradual(&matches[at(hop)])).collect();
        Self { octaves, steadiness, jumps: jumps(&matches, &densities(onset, rhythms.len()), stride) }
    }
}

/// One rhythm a hop: self-similarity of the stretch that begins there, by span, less the mean around.
fn rhythms(onset: &[f32]) -> Vec<Vec<f32>> {
    let window: Vec<f32> = (0..STRETCH)
        .map(|n| 0.5 - 0.5 * (std::f32::consts::TAU * (n as f32 + 0.5) / STRETCH as f32).cos())
        .collect();
    let fade = self_products(&window);
    let spans: Vec<(usize, f32)> = (0..)
        .map(|n| SHORTEST * (n as f32 / PER_OCTAVE as f32).exp2())
        .take_while(|&span| span < (LONGEST - 1) as f32)
        .map(|span| (span as usize, span.fract()))
        .collect();
    let count = (onset.len() + HOP).saturating_sub(STRETCH) / HOP;
    (0..count)
        .map(|hop| {
            let stretch: Vec<f32> = onset[hop * HOP..].iter().zip(&window).map(|(o, w)| o * w).collect();
            let products = self_products(&stretch);
            let whole = products[0].max(1e-9);
            let part = |span: usize| products[span] / whole * fade[0] / fade[span];
            let curve: Vec<f32> =
                spans.iter().map(|&(span, rest)| (1.0 - rest) * part(span) + rest * part(span + 1)).collect();
            let around = mean(&curve, 13, 13);
            curve.iter().zip(&around).map(|(c, a)| c - a).collect()
        })
        .collect()
}

/// Sums of products of `x` with itself `span` frames later, for spans up to [`LONGEST`].
fn self_products(x: &[f32]) -> Vec<f32> {
    const LANES: usize = 8;
    (0..=LONGEST)
        .map(|span| {
            let later = x.get(span..).unwrap_or(&[]);
            let mut sums = [0.0f32; LANES];
            for (a, b) in x[..later.len()].chunks_exact(LANES).zip(later.chunks_exact(LANES)) {
                for lane in 0..LANES {
                    sums[lane] += a[lane] * b[lane];
                }
            }
            sums.iter().sum()
        })
        .collect()
}

/// Correlation of the later rhythm with the earlier one at a tempo higher by -[`JUMP`] to [`JUMP`] steps.
fn shifted_matches(earlier: &[f32], later: &[f32]) -> Vec<f32> {
    let length = earlier.len();
    (0..=2 * JUMP)
        .map(|n| {
            let (e, l) = if n >= JUMP {
                (&earlier[n - JUMP..], &later[..length - (n - JUMP)])
            } else {
                (&earlier[..length - (JUMP - n)], &later[JUMP - n..])
            };
            let mut sums = [0.0f32; 3];
            for (a, b) in e.iter().zip(l) {
                sums[0] += a * b;
                sums[1] += a * a;
                sums[2] += b * b;
            }
            sums[0] / (sums[1] * sums[2]).sqrt().max(1e-6)
        })
        .collect()
}

/// The best course of gradual changes (steps from one stretch to the next), one entry a measurement.
fn gradual_changes(matches: &[Vec<f32>]) -> Vec<f32> {
    const STATES: usize = 2 * GRADUAL + 1;
    let gain =
        |m: &[f32], state: usize| m[JUMP - GRADUAL + state] - RELUCTANCE * state.abs_diff(GRADUAL) as f32;
    let mut scores: Vec<f32> = (0..STATES).map(|state| gain(&matches[0], state)).collect();
    let mut back: Vec<[u8; STATES]> = Vec::with_capacity(matches.len());
    for m in &matches[1..] {
        let mut from = [0u8; STATES];
        let next = (0..STATES)
            .map(|state| {
                let reach = |other: usize| scores[other] - INERTIA * other.abs_diff(state) as f32;
                let best = (0..STATES).max_by(|&a, &b| reach(a).total_cmp(&reach(b))).unwrap_or(state);
                from[state] = best as u8;
                reach(best) + gain(m, state)
            })
            .collect();
        scores = next;
        back.push(from);
    }
    let mut state = (0..STATES).max_by(|&a, &b| scores[a].total_cmp(&scores[b])).unwrap_or(GRADUAL);
    let mut path = vec![state as f32 - GRADUAL as f32];
    for from in back.iter().rev() {
        state = usize::from(from[state]);
        path.push(state as f32 - GRADUAL as f32);
    }
    path.reverse();
    path
}

fn best_gradual(m: &[f32]) -> f32 {
    m[JUMP - GRADUAL..=JUMP + GRADUAL].iter().copied().fold(f32::MIN, f32::max)
}

/// Change of tempo that a step of [`shifted_matches`] stands for.
fn octaves(step: usize) -> f32 {
    (step as f32 - JUMP as f32) / PER_OCTAVE as f32
}

/// Logarithm (base 2) of the number of attacks in the stretch that begins at each hop.
fn densities(onset: &[f32], hops: usize) -> Vec<f32> {
    let attack = |t: usize| onset[t] >= COUNTED && onset[t] >= onset[t - 1] && onset[t] > onset[t + 1];
    let attacks: Vec<f32> =
        (0..onset.len()).map(|t| if t > 0 && t + 1 < onset.len() && attack(t) { 1.0 } else { 0.0 }).collect();
    (0..hops).map(|hop| attacks[hop * HOP..].iter().take(STRETCH).sum::<f32>().max(1.0).log2()).collect()
}

/// Changes too large to be gradual that explain the rhythm markedly better, each where it does so best.
fn jumps(matches: &[Vec<f32>], density: &[f32], stride: usize) -> Vec<PaceJump> {
    let margin = |hop: usize, step: usize| {
        let Some(m) = matches.get(hop) else { return f32::MIN };
        // A rhythm fits itself nearly as well an octave off; the number of attacks tells the two apart.
        let apart = density[hop + stride] - density[hop] - octaves(step);
        m[step] - best_gradual(m).max(0.0) - DENSITY * apart * apart
    };
    let mut found = Vec::new();
    for hop in 0..matches.len() {
        for step in (0..=2 * JUMP).filter(|step| step.abs_diff(JUMP) > GRADUAL / 2) {
            let here = margin(hop, step);
            if here < JUMP_MARGIN {
                continue;
            }
            let around =
                [(hop.wrapping_sub(1), step), (hop + 1, step), (hop, step.wrapping_sub(1)), (hop, step + 1)];
            let largest = around.iter().all(|&(h, s)| s > 2 * JUMP || margin(h, s) <= here);
            if largest {
                found.push(PaceJump {
                    at: ((hop + stride) * HOP) as f32 / FPS as f32,
                    octaves: octaves(step),
                    strength: here,
                });
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An onset curve with an attack on every half beat, the beats stronger; `bpm` by second.
    fn curve(seconds: f32, bpm: impl Fn(f32) -> f32) -> Vec<f32> {
        let mut phase = 0.0f32;
        let mut out = vec![0.0; (seconds * FPS as f32) as usize];
        for (frame, value) in out.iter_mut().enumerate() {
            let before = phase;
            phase += bpm(frame as f32 / FPS as f32) / 60.0 / FPS as f32 * 2.0;
            if before.floor() < phase.floor() {
                *value = if (phase as usize).is_multiple_of(2) { 2.0 } else { 1.0 };
            }
        }
        super::super::curve::smooth(&out, 1.0)
    }

    #[test]
    fn a_steady_beat_keeps_its_pace() {
        let pace = Pace::new(&curve(40.0, |_| 100.0));
        assert!(pace.octaves.iter().all(|o| o.abs() < 0.02), "{:?}", pace.octaves);
        assert!(pace.jumps.is_empty(), "{:?}", pace.jumps);
    }

    #[test]
    fn a_doubling_over_a_minute_is_heard_as_one_octave() {
        let pace = Pace::new(&curve(60.0, |t| 80.0 * (t / 60.0).exp2()));
        let last = pace.octaves.last().copied().unwrap_or(0.0);
        assert!((last - 1.0).abs() < 0.15, "{last}");
    }

    #[test]
    fn a_step_is_heard_as_a_jump_of_its_size() {
        let pace = Pace::new(&curve(40.0, |t| if t < 20.0 { 90.0 } else { 120.0 }));
        let best = pace.jumps.iter().max_by(|a, b| a.strength.total_cmp(&b.strength)).expect("a jump");
        assert!((best.at - 20.0).abs() <= 2.0 && (best.octaves - 0.415).abs() < 0.06, "{best:?}");
    }

    #[test]
    fn short_and_silent_curves_say_nothing() {
        assert_eq!(Pace::new(&[]), Pace::default());
        assert_eq!(Pace::new(&[0.0; 900]), Pace::default());
        assert!(Pace::new(&[0.0; 3_000]).octaves.iter().all(|o| *o == 0.0));
    }
}
