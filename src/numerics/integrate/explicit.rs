//! One step of the explicit Runge-Kutta pair 5(4) of Tsitouras, with its free dense output.
//!
//! Ch. Tsitouras, "Runge-Kutta pairs of order 5(4) satisfying only the first column simplifying
//! assumption", Computers & Mathematics with Applications 62 (2011) 770-775: seven stages, the
//! last of which is the first of the next step. The dense output is the fourth-order continuous
//! extension of the same paper, written as a polynomial in the fraction of the step.

use super::dense::Dense;
use super::{Caller, Failure, System, combine, weighted_norm};

const C: [f64; 6] = [0.0, 0.161, 0.327, 0.9, 0.980_025_540_904_509_7, 1.0];
const A2: [f64; 1] = [0.161];
const A3: [f64; 2] = [-0.008_480_655_492_356_989, 0.335_480_655_492_357];
const A4: [f64; 3] = [
    2.897_153_057_105_493_5,
    -6.359_448_489_975_075,
    4.362_295_432_869_581_5,
];
const A5: [f64; 4] = [
    5.325_864_828_439_257,
    -11.748_883_564_062_828,
    7.495_539_342_889_836_5,
    -0.092_495_066_361_755_25,
];
const A6: [f64; 5] = [
    5.861_455_442_946_42,
    -12.920_969_317_847_11,
    8.159_367_898_576_159,
    -0.071_584_973_281_401,
    -0.028_269_050_394_068_383,
];
/// Weights of the fifth-order solution, also the last stage.
const B: [f64; 6] = [
    0.096_460_766_818_065_23,
    0.01,
    0.479_889_650_414_499_6,
    1.379_008_574_103_742,
    -3.290_069_515_436_081,
    2.324_710_524_099_774,
];
/// Weights of the error estimate.
const E: [f64; 7] = [
    -0.001_780_011_052_225_777,
    -0.000_816_434_459_656_746_9,
    0.007_880_878_010_261_995,
    -0.144_711_007_173_262_9,
    0.582_357_165_452_555_2,
    -0.458_082_105_929_186_97,
    0.015_151_515_151_515_152,
];
/// Weights of the dense output: powers 1 to 4 of the fraction, per stage.
const R: [[f64; 4]; 7] = [
    [
        1.0,
        -2.763_706_197_274_826,
        2.913_255_461_821_912_6,
        -1.053_088_497_729_021_6,
    ],
    [0.0, 0.131_7, -0.223_4, 0.101_7],
    [
        0.0,
        3.930_296_236_894_751_6,
        -5.941_033_872_131_505,
        2.490_627_285_651_253,
    ],
    [
        0.0,
        -12.411_077_166_933_676,
        30.338_188_630_282_32,
        -16.548_102_889_244_902,
    ],
    [
        0.0,
        37.509_313_416_511_04,
        -88.178_904_894_766_4,
        47.379_521_962_819_28,
    ],
    [
        0.0,
        -27.896_526_289_197_286,
        65.091_894_674_793_66,
        -34.870_657_861_496_61,
    ],
    [0.0, 1.5, -4.0, 2.5],
];

/// Length of the stability interval on the negative real axis (3.5068) less a margin: above this
/// h |lambda| the step is limited by stability.
pub(super) const STABILITY: f64 = 3.25;

/// What a step found out.
pub(super) struct Outcome {
    /// Error in units of the tolerance.
    pub error: f64,
    /// h |lambda| estimated from the last two stages; zero if it could not be.
    pub stiffness: f64,
}

/// Work arrays of the method.
#[derive(Debug, Clone)]
pub(super) struct Explicit {
    stages: [Vec<f64>; 5],
    stage: Vec<f64>,
}

impl Explicit {
    pub fn new(dimension: usize) -> Self {
        Self {
            stages: std::array::from_fn(|_| vec![0.0; dimension]),
            stage: vec![0.0; dimension],
        }
    }

    /// From (`time`, `state`) with `rates` known to `new` with `rates_new` after `h`.
    /// `weights` are the error weights at the old state and are raised to those of the new one.
    #[allow(clippy::too_many_arguments)]
    pub fn step<S: System>(
        &mut self,
        caller: &mut Caller<'_, S>,
        (time, h): (f64, f64),
        state: &[f64],
        rates: &[f64],
        new: &mut [f64],
        rates_new: &mut [f64],
        relative: f64,
        absolute: &[f64],
        weights: &mut [f64],
    ) -> Result<Outcome, Failure<S::Error>> {
        let [k2, k3, k4, k5, k6] = &mut self.stages;
        let stage = &mut self.stage;
        let k1 = rates;
        combine(stage, state, h, A2, [k1]);
        caller.rates(time + C[1] * h, stage, k2)?;
        combine(stage, state, h, A3, [k1, k2]);
        caller.rates(time + C[2] * h, stage, k3)?;
        combine(stage, state, h, A4, [k1, k2, k3]);
        caller.rates(time + C[3] * h, stage, k4)?;
        combine(stage, state, h, A5, [k1, k2, k3, k4]);
        caller.rates(time + C[4] * h, stage, k5)?;
        combine(stage, state, h, A6, [k1, k2, k3, k4, k5]);
        caller.rates(time + h, stage, k6)?;
        combine(new, state, h, B, [k1, k2, k3, k4, k5, k6]);
        caller.rates(time + h, new, rates_new)?;
        let k7 = &*rates_new;
        for (((weight, new), old), absolute) in
            weights.iter_mut().zip(&*new).zip(state).zip(absolute)
        {
            *weight = absolute + relative * new.abs().max(old.abs());
        }
        let n = state.len();
        let error = weighted_norm(
            (0..n).map(|i| {
                E[0] * k1[i]
                    + E[1] * k2[i]
                    + E[2] * k3[i]
                    + E[3] * k4[i]
                    + E[4] * k5[i]
                    + E[5] * k6[i]
                    + E[6] * k7[i]
            }),
            weights,
        ) * h;
        // Stages 6 and 7 are both at the end of the step: their difference measures |lambda|
        // (Hairer & Wanner, Solving Ordinary Differential Equations II, section IV.2).
        let distance = weighted_norm(new.iter().zip(&*stage).map(|(a, b)| a - b), weights);
        let size = weighted_norm(new.iter().copied(), weights);
        let stiffness = if distance > 1e3 * f64::EPSILON * size {
            h * weighted_norm(k7.iter().zip(&*k6).map(|(a, b)| a - b), weights) / distance
        } else {
            0.0
        };
        Ok(Outcome { error, stiffness })
    }

    /// Writes the dense output of the step just made.
    pub fn dense(&self, (time, h): (f64, f64), k1: &[f64], k7: &[f64], dense: &mut Dense) {
        let [k2, k3, k4, k5, k6] = &self.stages;
        dense.time = time;
        dense.step = h;
        for (i, c) in dense.coefficients.iter_mut().enumerate() {
            let k = [k1[i], k2[i], k3[i], k4[i], k5[i], k6[i], k7[i]];
            let mut sum = [0.0; 4];
            for (k, row) in k.iter().zip(&R) {
                for (sum, weight) in sum.iter_mut().zip(row) {
                    *sum += weight * k;
                }
            }
            *c = sum.map(|sum| h * sum);
        }
    }
}
