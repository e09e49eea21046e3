//! Filter banks: from the bins of a spectrum to bands of a few per octave, pitch classes and bass.

/// Lowest and highest centre of the bands, Hz.
const LOWEST: f64 = 27.5;
const HIGHEST: f64 = 10_000.0;
const BANDS_PER_OCTAVE: f64 = 24.0;
/// Upper edges of the groups of bands (Hz); the last is open. An octave each, but for the outermost.
const GROUP_EDGES: [f64; 6] = [130.0, 260.0, 520.0, 1_040.0, 2_080.0, 4_160.0];
/// How many groups of bands there are.
pub(crate) const GROUPS: usize = GROUP_EDGES.len() + 1;

/// Triangular filters on a logarithmic frequency axis, each of unit sum.
pub(crate) struct Bank {
    /// First bin and weights of each filter.
    filters: Vec<(usize, Vec<f32>)>,
    /// For each group, its bands.
    groups: [std::ops::Range<usize>; GROUPS],
}

impl Bank {
    pub(crate) fn new(length: usize, rate: f64) -> Self {
        let (filters, centres) = triangles(length, rate, LOWEST, HIGHEST, BANDS_PER_OCTAVE);
        let edge = |group: usize| match group {
            0 => 0,
            GROUPS => centres.len(),
            n => centres.partition_point(|&hz| hz < GROUP_EDGES[n - 1]),
        };
        Self { filters, groups: std::array::from_fn(|group| edge(group)..edge(group + 1)) }
    }

    pub(crate) fn bands(&self) -> usize {
        self.filters.len()
    }

    pub(crate) fn groups(&self) -> &[std::ops::Range<usize>; GROUPS] {
        &self.groups
    }

    /// Appends one value a band.
    pub(crate) fn apply(&self, magnitude: &[f32], out: &mut Vec<f32>) {
        out.extend(self.filters.iter().map(|(first, weights)| weighted(&magnitude[*first..], weights)));
    }
}

/// Pitch classes (60 Hz to 2.2 kHz) and bass bands (32 to 260 Hz) of a long spectrum.
pub(crate) struct PitchMap {
    /// For bins from `first`: the lower of the two nearest pitch classes and the share of the upper.
    bins: Vec<(u8, f32)>,
    first: usize,
    bass: Vec<(usize, Vec<f32>)>,
}

impl PitchMap {
    pub(crate) fn new(length: usize, rate: f64) -> Self {
        let bin = |hz: f64| hz * length as f64 / rate;
        let (first, last) = (bin(60.0).ceil() as usize, bin(2_200.0).floor() as usize);
        let bins = (first..=last)
            .map(|n| {
                let semitone = 69.0 + 12.0 * (n as f64 * rate / length as f64 / 440.0).log2();
                ((semitone.floor() as usize % 12) as u8, semitone.fract() as f32)
            })
            .collect();
        Self { bins, first, bass: triangles(length, rate, 32.0, 260.0, 12.0).0 }
    }

    pub(crate) fn bass_bands(&self) -> usize {
        self.bass.len()
    }

    /// Appends 12 pitch-class strengths and the bass bands of one frame, both compressed by a square root.
    pub(crate) fn apply(&self, magnitude: &[f32], chroma: &mut Vec<f32>, bass: &mut Vec<f32>) {
        let mut classes = [0.0f32; 12];
        for (&(class, share), &m) in self.bins.iter().zip(&magnitude[self.first..]) {
            // Compressed before folding, so that one loud partial does not rule; a root, unlike a
            // logarithm, makes the same shape at any recording level.
            let strength = m.sqrt();
            let lower = usize::from(class);
            classes[lower] += (1.0 - share) * strength;
            classes[if lower == 11 { 0 } else { lower + 1 }] += share * strength;
        }
        chroma.extend_from_slice(&classes);
        bass.extend(self.bass.iter().map(|(first, w)| weighted(&magnitude[*first..], w).sqrt()));
    }
}

fn weighted(magnitude: &[f32], weights: &[f32]) -> f32 {
    magnitude.iter().zip(weights).map(|(m, w)| m * w).sum()
}

/// A triangular filter: its first bin, and one weight a bin.
type Triangle = (usize, Vec<f32>);

/// Triangles between neighbouring centres `per_octave` apart (rounded to bins, doubles dropped), with their centres.
fn triangles(length: usize, rate: f64, low: f64, high: f64, per_octave: f64) -> (Vec<Triangle>, Vec<f64>) {
    let mut bins: Vec<usize> = (0..)
        .map(|n| low * (f64::from(n) / per_octave).exp2())
        .take_while(|&hz| hz < high * (2.0 / per_octave).exp2())
        .map(|hz| (hz * length as f64 / rate).round() as usize)
        .filter(|&bin| bin <= length / 2)
        .collect();
    bins.dedup();
    bins.windows(3)
        .map(|edge| {
            let (left, centre, right) = (edge[0], edge[1], edge[2]);
            let weight = |bin: usize| {
                if bin < centre {
                    (bin - left) as f32 / (centre - left) as f32
                } else {
                    (right - bin) as f32 / (right - centre) as f32
                }
            };
            let mut weights: Vec<f32> = (left..right).map(weight).collect();
            let sum: f32 = weights.iter().sum();
            weights.iter_mut().for_each(|w| *w /= sum);
            ((left, weights), centre as f64 * rate / length as f64)
        })
        .unzip()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_cover_every_band_once() {
        let bank = Bank::new(1024, 22_050.0);
        assert!((100..150).contains(&bank.bands()), "{}", bank.bands());
        let mut next = 0;
        for group in bank.groups() {
            assert_eq!(group.start, next);
            assert!(!group.is_empty());
            next = group.end;
        }
        assert_eq!(next, bank.bands());
    }

    #[test]
    fn a_flat_spectrum_gives_flat_bands() {
        let bank = Bank::new(1024, 22_050.0);
        let mut out = Vec::new();
        bank.apply(&[2.0; 513], &mut out);
        assert!(out.iter().all(|x| (x - 2.0).abs() < 1e-5));
    }

    #[test]
    fn concert_a_is_class_nine() {
        let map = PitchMap::new(1024, 5_512.5);
        let mut magnitude = vec![0.0; 513];
        magnitude[(440.0f64 * 1024.0 / 5_512.5).round() as usize] = 1.0;
        let (mut chroma, mut bass) = (Vec::new(), Vec::new());
        map.apply(&magnitude, &mut chroma, &mut bass);
        let loudest = chroma.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).map(|(n, _)| n);
        assert_eq!((loudest, bass.len()), (Some(9), map.bass_bands()));
    }
}
