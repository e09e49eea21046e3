//! The shipped weights, unpacked: what `training/export.py` writes.
//!
//! Layout, little endian: the 8 bytes `FARNET2\n`; u32 inputs, channels, blocks, kernel, heads; the entry layer; for each
//! block its spread (channels × kernel f32), its first and its second layer; the heads. A layer is: outputs × f32 scale,
//! outputs × f32 bias, outputs × inputs i16; a weight is its number times its output's scale.

use super::HEADS;
use super::features::VALUES;
use super::layers::{Dense, Spread};

const MAGIC: &[u8; 8] = b"FARNET2\n";
/// No layer of a network for this job is wider; a larger number means a damaged file.
const WIDEST: usize = 4096;

/// Why weights cannot be read. The shipped ones always can; a test holds that.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum WeightsError {
    /// The bytes do not begin as weights do.
    #[error("cannot read the listening weights: not a weights file; build the program again")]
    Foreign,
    /// The bytes end too soon, go on too long, or state impossible sizes.
    #[error(
        "cannot read the listening weights: {got} bytes do not make the stated layers; build the program again"
    )]
    Damaged {
        /// How many bytes there are.
        got: usize,
    },
}

/// One residual block: `x + second(rectified(first(spread(x))))`.
#[derive(Debug, Clone)]
pub(super) struct Block {
    pub(super) spread: Spread,
    pub(super) first: Dense,
    pub(super) second: Dense,
}

/// A network ready to run.
#[derive(Debug, Clone)]
pub struct Network {
    pub(super) entry: Dense,
    pub(super) blocks: Vec<Block>,
    pub(super) heads: Dense,
}

impl Network {
    /// Reads weights.
    ///
    /// # Errors
    /// [`WeightsError`] when the bytes are not weights of this layout.
    pub fn read(bytes: &[u8]) -> Result<Self, WeightsError> {
        let damaged = WeightsError::Damaged { got: bytes.len() };
        let rest = bytes.strip_prefix(MAGIC.as_slice()).ok_or(WeightsError::Foreign)?;
        let mut reader = Reader { rest };
        let mut size = || reader.size().filter(|n| (1..=WIDEST).contains(n));
        let sizes = (size(), size(), size(), size(), size());
        let (Some(inputs), Some(channels), Some(blocks), Some(kernel), Some(heads)) = sizes else {
            return Err(damaged);
        };
        if inputs != 2 * VALUES || heads != HEADS || blocks > 16 || kernel % 2 == 0 {
            return Err(damaged);
        }
        let network = (|| {
            let entry = reader.dense(inputs, channels)?;
            let blocks = (0..blocks)
                .map(|k| {
                    Some(Block {
                        spread: Spread::new(channels, kernel, 1 << k, &reader.floats(channels * kernel)?),
                        first: reader.dense(channels, channels)?,
                        second: reader.dense(channels, channels)?,
                    })
                })
                .collect::<Option<Vec<_>>>()?;
            Some(Self { entry, blocks, heads: reader.dense(channels, heads)? })
        })();
        network.filter(|_| reader.rest.is_empty()).ok_or(damaged)
    }

    /// Steps to either side that an answer depends on.
    pub(super) fn reach(&self) -> usize {
        self.blocks.iter().map(|block| block.spread.reach()).sum()
    }
}

struct Reader<'a> {
    rest: &'a [u8],
}

impl<'a> Reader<'a> {
    fn take(&mut self, count: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.rest.split_at_checked(count)?;
        self.rest = rest;
        Some(taken)
    }

    fn size(&mut self) -> Option<usize> {
        let bytes = self.take(4)?;
        usize::try_from(u32::from_le_bytes(bytes.try_into().ok()?)).ok()
    }

    fn floats(&mut self, count: usize) -> Option<Vec<f32>> {
        let bytes = self.take(4 * count)?;
        Some(bytes.chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])).collect())
    }

    fn dense(&mut self, inputs: usize, outputs: usize) -> Option<Dense> {
        let scales = self.floats(outputs)?;
        let bias = self.floats(outputs)?;
        let (codes, _) = self.take(2 * inputs * outputs)?.as_chunks::<2>();
        let weight = |output: usize, input: usize| {
            f32::from(i16::from_le_bytes(codes[output * inputs + input])) * scales[output]
        };
        Some(Dense::new(inputs, outputs, &bias, weight))
    }
}
