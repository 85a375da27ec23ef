//! Random streams addressed by number: the same (seed, purpose, index) gives the
//! same bits on any thread, in any order, in any slice of the work.
//!
//! Each stream is a xoshiro256++ generator (Blackman & Vigna 2021, ACM Trans.
//! Math. Softw. 47, 36) whose state is expanded by SplitMix64 from
//!
//! ```text
//! key = mix(mix(mix(seed + g) + purpose g) + index g)
//! ```
//!
//! with mix the SplitMix64 finaliser (Steele, Lea & Flood 2014, OOPSLA, variant
//! 13) and g = 0x9E3779B97F4A7C15. The map from index to key is a bijection for
//! a given seed and purpose, so no two trials of a campaign share a stream.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// The odd constant of SplitMix64: 2^64 over the golden ratio.
const GOLDEN: u64 = 0x9E37_79B9_7F4A_7C15;

/// What a stream is for. Streams of different purpose are unrelated, so that a
/// bootstrap, say, never re-uses the bits of the trials it resamples.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u64)]
pub enum Purpose {
    /// Inputs of trials.
    Trial = 1,
    /// Place within a cell of Latin hypercube or Sobol points.
    Jitter = 2,
    /// Resampling for bootstrap intervals.
    Bootstrap = 3,
    /// First level of a subset simulation.
    SubsetStart = 4,
    /// Markov chains of a subset simulation.
    SubsetChain = 5,
    /// Anything a caller needs beside the above.
    Other = 6,
}

/// SplitMix64 finaliser: a bijection of 64-bit words in which every input bit
/// moves about half of the output bits.
pub fn mix(word: u64) -> u64 {
    let word = (word ^ (word >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let word = (word ^ (word >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    word ^ (word >> 31)
}

/// Hash of a list of words in order; the empty list hashes the seed alone.
pub fn hash(seed: u64, words: &[u64]) -> u64 {
    words
        .iter()
        .fold(mix(seed.wrapping_add(GOLDEN)), |state, word| {
            mix(state.wrapping_add(word.wrapping_mul(GOLDEN)))
        })
}

/// A generator that is a function of (seed, purpose, index) alone.
#[derive(Debug, Clone)]
pub struct Stream {
    generator: Xoshiro256PlusPlus,
}

impl Stream {
    /// The stream of this seed, purpose and index.
    pub fn new(seed: u64, purpose: Purpose, index: u64) -> Self {
        let key = hash(seed, &[purpose as u64, index]);
        Self {
            generator: Xoshiro256PlusPlus::seed_from_u64(key),
        }
    }

    /// 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.generator.next_u64()
    }

    /// A uniform number strictly between 0 and 1: the middle of one of 2^52
    /// equal cells, so that neither end is ever reached and 1 - u is exact.
    pub fn uniform(&mut self) -> f64 {
        open_unit(self.bits())
    }

    /// A uniform integer below `bound` (0 for a bound of 0). Multiply-shift; its
    /// bias is under bound / 2^64.
    pub fn below(&mut self, bound: u64) -> u64 {
        ((u128::from(self.bits()) * u128::from(bound)) >> 64) as u64
    }

    /// Two independent standard normal numbers (Box & Muller 1958, Ann. Math.
    /// Statist. 29, 610): r = sqrt(-2 ln u1), angle 2 pi u2.
    pub fn normal_pair(&mut self) -> (f64, f64) {
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        let (sine, cosine) = (std::f64::consts::TAU * self.uniform()).sin_cos();
        (radius * cosine, radius * sine)
    }

    /// Fills `out` with independent standard normal numbers.
    pub fn fill_normal(&mut self, out: &mut [f64]) {
        for pair in out.chunks_mut(2) {
            let (first, second) = self.normal_pair();
            if let Some(slot) = pair.first_mut() {
                *slot = first;
            }
            if let Some(slot) = pair.get_mut(1) {
                *slot = second;
            }
        }
    }
}

/// Maps 64 bits to the middle of one of 2^52 equal cells of (0, 1).
pub fn open_unit(bits: u64) -> f64 {
    const CELL: f64 = 1.0 / (1u64 << 52) as f64;
    ((bits >> 12) as f64 + 0.5) * CELL
}
