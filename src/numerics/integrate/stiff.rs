//! One step of the stiffly accurate Rosenbrock pair 4(3) RODAS, with its dense output.
//!
//! E. Hairer and G. Wanner, Solving Ordinary Differential Equations II, 2nd ed. (1996), section
//! IV.7 and table VI.4.1 of the coefficients in the transformed variables; six stages, L-stable,
//! one Jacobian and one LU factorisation per step. In the transformed variables stage i solves
//!
//! (I / (h gamma) - J) k_i = f(t + c_i h, y + sum a_ij k_j) + sum (c_ij / h) k_j + h d_i df/dt .

use super::dense::Dense;
use super::jacobian::Jacobian;
use super::{Caller, Failure, System, combine, weighted_norm};
use crate::numerics::linear;

const GAMMA: f64 = 0.25;
const C: [f64; 4] = [0.0, 0.386, 0.21, 0.63];
const D: [f64; 4] = [0.25, -0.1043, 0.1035, -0.036_200_000_000_000_23];
const A2: [f64; 1] = [1.544];
const A3: [f64; 2] = [0.946_678_528_081_582_6, 0.255_701_169_898_328_4];
const A4: [f64; 3] = [
    3.314_825_187_068_521,
    2.896_124_015_972_201,
    0.998_641_913_997_781_7,
];
const A5: [f64; 4] = [
    1.221_224_509_226_641,
    6.019_134_481_288_629,
    12.537_083_329_320_87,
    -0.687_886_036_105_895,
];
const C2: [f64; 1] = [-5.6688];
const C3: [f64; 2] = [-2.430_093_356_833_875, -0.206_359_915_709_191_5];
const C4: [f64; 3] = [
    -0.107_352_905_815_137_5,
    -9.594_562_251_023_355,
    -20.470_286_148_096_16,
];
const C5: [f64; 4] = [
    7.496_443_313_967_647,
    -10.246_804_314_643_52,
    -33.999_903_528_199_05,
    11.708_908_932_061_6,
];
const C6: [f64; 5] = [
    8.083_246_795_921_522,
    -7.981_132_988_064_893,
    -31.521_594_328_743_71,
    16.319_305_431_231_36,
    -6.058_818_238_834_054,
];
const H2: [f64; 5] = [
    10.126_235_083_445_86,
    -7.487_995_877_610_167,
    -34.800_918_615_557_47,
    -7.992_771_707_568_823,
    1.025_137_723_295_662,
];
const H3: [f64; 5] = [
    -0.676_280_339_280_125_3,
    6.087_714_651_680_015,
    16.430_843_208_924_78,
    24.767_225_114_183_86,
    -6.594_389_125_716_872,
];

/// Work arrays of the method.
#[derive(Debug, Clone)]
pub(super) struct Stiff {
    pub jacobian: Jacobian,
    stages: [Vec<f64>; 6],
    stage: Vec<f64>,
    rates: Vec<f64>,
    matrix: Vec<f64>,
    pivots: Vec<usize>,
    /// Solution of a stage for the components that influence rates.
    solved: Vec<f64>,
}

impl Stiff {
    pub fn new(dimension: usize) -> Self {
        Self {
            jacobian: Jacobian::new(dimension),
            stages: std::array::from_fn(|_| vec![0.0; dimension]),
            stage: vec![0.0; dimension],
            rates: vec![0.0; dimension],
            matrix: vec![0.0; dimension * dimension],
            pivots: vec![0; dimension],
            solved: vec![0.0; dimension],
        }
    }

    /// From (`time`, `state`) with `rates` known to `new` after `h`, with the Jacobian formed at
    /// (`time`, `state`) before. Returns `error_share` of the error of the third-order solution in units of
    /// the tolerance; only if that is at most one are the rates at the new state evaluated into
    /// `rates_new`.
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
        error_share: f64,
    ) -> Result<f64, Failure<S::Error>> {
        let jacobian = &self.jacobian;
        let active = jacobian.active.as_slice();
        let m = active.len();
        let matrix = &mut self.matrix[..m * m];
        let pivots = &mut self.pivots[..m];
        for (k, component) in active.iter().enumerate() {
            let row = &mut matrix[k * m..(k + 1) * m];
            for (entry, slope) in row.iter_mut().zip(jacobian.row(*component)) {
                *entry = -slope;
            }
            row[k] += 1.0 / (h * GAMMA);
        }
        linear::factor(matrix, pivots).map_err(|_| Failure::NotFinite)?;
        let [k1, k2, k3, k4, k5, k6] = &mut self.stages;
        let (stage, f) = (&mut self.stage, &mut self.rates);
        let (ft, scale) = (&jacobian.time, &jacobian.scale);
        let (matrix, pivots) = (&*matrix, &*pivots);
        let solved = &mut self.solved[..m];
        let mut solve = |k: &mut [f64]| {
            k.iter_mut().zip(scale).for_each(|(k, scale)| *k /= scale);
            solved
                .iter_mut()
                .zip(active)
                .for_each(|(to, j)| *to = k[*j]);
            linear::solve(matrix, pivots, solved).map_err(|_| Failure::NotFinite)?;
            // Of the others only the diagonal is left once the active ones are known.
            let mut known = active.iter().zip(&*solved).peekable();
            for (i, (k, scale)) in k.iter_mut().zip(scale).enumerate() {
                *k = scale
                    * match known.next_if(|(active, _)| **active == i) {
                        Some((_, value)) => *value,
                        None => {
                            let row = jacobian.row(i).iter().zip(&*solved);
                            h * GAMMA * (*k + row.map(|(a, b)| a * b).sum::<f64>())
                        }
                    };
            }
            Ok(())
        };
        let inverse = 1.0 / h;

        combine(k1, rates, h, [D[0]], [ft]);
        solve(k1)?;
        combine(stage, state, 1.0, A2, [k1]);
        caller.rates(time + C[1] * h, stage, f)?;
        combine(k2, f, inverse, C2, [k1]);
        add(k2, h * D[1], ft);
        solve(k2)?;
        combine(stage, state, 1.0, A3, [k1, k2]);
        caller.rates(time + C[2] * h, stage, f)?;
        combine(k3, f, inverse, C3, [k1, k2]);
        add(k3, h * D[2], ft);
        solve(k3)?;
        combine(stage, state, 1.0, A4, [k1, k2, k3]);
        caller.rates(time + C[3] * h, stage, f)?;
        combine(k4, f, inverse, C4, [k1, k2, k3]);
        add(k4, h * D[3], ft);
        solve(k4)?;
        combine(stage, state, 1.0, A5, [k1, k2, k3, k4]);
        caller.rates(time + h, stage, f)?;
        combine(k5, f, inverse, C5, [k1, k2, k3, k4]);
        solve(k5)?;
        add(stage, 1.0, k5);
        caller.rates(time + h, stage, f)?;
        combine(k6, f, inverse, C6, [k1, k2, k3, k4, k5]);
        solve(k6)?;
        combine(new, stage, 1.0, [1.0], [k6]);
        for (((weight, new), old), absolute) in
            weights.iter_mut().zip(&*new).zip(state).zip(absolute)
        {
            *weight = absolute + relative * new.abs().max(old.abs());
        }
        let error = error_share * weighted_norm(k6.iter().copied(), weights);
        if error <= 1.0 {
            caller.rates(time + h, new, rates_new)?;
        }
        Ok(error)
    }

    /// Writes the third-order dense output of the step just made:
    /// y = y0 (1 - x) + x (y1 + (1 - x) (u + x v)), u = sum H2_j k_j, v = sum H3_j k_j.
    pub fn dense(&self, (time, h): (f64, f64), state: &[f64], new: &[f64], dense: &mut Dense) {
        let [k1, k2, k3, k4, k5, _] = &self.stages;
        dense.time = time;
        dense.step = h;
        for (i, c) in dense.coefficients.iter_mut().enumerate() {
            let k = [k1[i], k2[i], k3[i], k4[i], k5[i]];
            let u: f64 = k.iter().zip(&H2).map(|(k, weight)| k * weight).sum();
            let v: f64 = k.iter().zip(&H3).map(|(k, weight)| k * weight).sum();
            *c = [new[i] - state[i] + u, v - u, -v, 0.0];
        }
    }
}

fn add(out: &mut [f64], factor: f64, values: &[f64]) {
    out.iter_mut()
        .zip(values)
        .for_each(|(out, value)| *out += factor * value);
}
