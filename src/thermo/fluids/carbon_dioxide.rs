//! Carbon dioxide: coefficients of the fluid and solid equations.
//!
//! Fluid: R. Span and W. Wagner, J. Phys. Chem. Ref. Data 25 (1996) 1509, eqs. 6.3 and 6.5,
//! tables 27 and 31; digits as carried by the reference library CoolProp 8.0.0 (12 of the
//! paper's 14). Solid: A. Jaeger and R. Span, J. Chem. Eng. Data 57 (2012) 590, table 4, with
//! its two free constants anchored to the fluid equation's own triple point.

/// Molar mass [kg/mol].
pub const MOLAR_MASS: f64 = 0.044_009_8;
/// Molar gas constant of the fluid equation [J/(mol K)].
pub const GAS_CONSTANT: f64 = 8.314_51;
/// Specific gas constant of the fluid equation [J/(kg K)].
pub const SPECIFIC_GAS_CONSTANT: f64 = GAS_CONSTANT / MOLAR_MASS;
/// Critical temperature, the reducing temperature [K].
pub const CRITICAL_TEMPERATURE: f64 = 304.128_2;
/// Critical density, the reducing density [kg/m3]: 10 624.9063 mol/m3.
pub const CRITICAL_DENSITY: f64 = 10_624.906_3 * MOLAR_MASS;
/// Critical pressure of the paper [Pa]; the equation itself gives 7 377 298 Pa at the point.
pub const CRITICAL_PRESSURE: f64 = 7.377_3e6;
/// Triple-point temperature [K].
pub const TRIPLE_TEMPERATURE: f64 = 216.592;
/// Triple-point pressure as rounded in the paper, used by its auxiliary lines [Pa].
pub const TRIPLE_PRESSURE_ROUNDED: f64 = 517_950.0;

/// Ideal part: constant and `tau` coefficient, reference-state offset included
/// (h = 200 kJ/kg, s = 1 kJ/(kg K) for saturated liquid at 273.15 K).
pub const IDEAL_LEAD: (f64, f64) = (
    8.373_044_56 - 14.497_915_622_431_9,
    -3.704_543_04 + 8.820_139_358_015_31,
);
/// Ideal part: coefficient of ln(tau).
pub const IDEAL_LOG: f64 = 2.5;
/// Ideal part: (coefficient, exponent) of the Planck-Einstein terms.
pub const IDEAL_PLANCK_EINSTEIN: [(f64, f64); 5] = [
    (1.994_270_42, 3.151_63),
    (0.621_052_48, 6.111_9),
    (0.411_952_93, 6.777_08),
    (1.040_289_22, 11.323_84),
    (0.083_276_78, 27.087_92),
];

/// One term n delta^d tau^t exp(-delta^l); `l` = 0 means no exponential. `t4` is 4 t.
#[derive(Debug, Clone, Copy)]
pub struct PowerTerm {
    /// Coefficient.
    pub n: f64,
    /// Density exponent.
    pub d: u8,
    /// Four times the temperature exponent.
    pub t4: u8,
    /// Exponent of delta in the exponential.
    pub l: u8,
}

const fn term(n: f64, d: u8, t4: u8, l: u8) -> PowerTerm {
    PowerTerm { n, d, t4, l }
}

/// The 7 polynomial and 27 exponential terms.
pub const POWER_TERMS: [PowerTerm; 34] = [
    term(0.388568232032, 1, 0, 0),
    term(2.93854759427, 1, 3, 0),
    term(-5.5867188535, 1, 4, 0),
    term(-0.767531995925, 1, 8, 0),
    term(0.317290055804, 2, 3, 0),
    term(0.548033158978, 2, 8, 0),
    term(0.122794112203, 3, 3, 0),
    term(2.16589615432, 1, 6, 1),
    term(1.58417351097, 2, 6, 1),
    term(-0.231327054055, 4, 10, 1),
    term(0.0581169164314, 5, 0, 1),
    term(-0.553691372054, 5, 6, 1),
    term(0.489466159094, 5, 8, 1),
    term(-0.0242757398435, 6, 0, 1),
    term(0.0624947905017, 6, 4, 1),
    term(-0.121758602252, 6, 8, 1),
    term(-0.370556852701, 1, 12, 2),
    term(-0.0167758797004, 1, 24, 2),
    term(-0.11960736638, 4, 12, 2),
    term(-0.0456193625088, 4, 24, 2),
    term(0.0356127892703, 4, 32, 2),
    term(-0.00744277271321, 7, 24, 2),
    term(-0.00173957049024, 8, 0, 2),
    term(-0.0218101212895, 2, 28, 3),
    term(0.0243321665592, 3, 48, 3),
    term(-0.0374401334235, 3, 64, 3),
    term(0.143387157569, 5, 88, 4),
    term(-0.134919690833, 5, 96, 4),
    term(-0.0231512250535, 6, 64, 4),
    term(0.0123631254929, 7, 96, 4),
    term(0.00210583219729, 8, 32, 4),
    term(-0.000339585190264, 10, 8, 4),
    term(0.00559936517716, 4, 112, 5),
    term(-0.000303351180556, 8, 56, 6),
];

/// One Gaussian term n delta^d tau^t exp(-eta (delta-1)^2 - beta (tau-gamma)^2).
#[derive(Debug, Clone, Copy)]
pub struct GaussianTerm {
    /// Coefficient.
    pub n: f64,
    /// Density exponent.
    pub d: u8,
    /// Four times the temperature exponent.
    pub t4: u8,
    /// Width in delta.
    pub eta: f64,
    /// Width in tau.
    pub beta: f64,
    /// Centre in tau.
    pub gamma: f64,
}

/// The five Gaussian terms.
pub const GAUSSIAN_TERMS: [GaussianTerm; 5] = [
    GaussianTerm {
        n: -213.654886883,
        d: 2,
        t4: 4,
        eta: 25.0,
        beta: 325.0,
        gamma: 1.16,
    },
    GaussianTerm {
        n: 26641.5691493,
        d: 2,
        t4: 0,
        eta: 25.0,
        beta: 300.0,
        gamma: 1.19,
    },
    GaussianTerm {
        n: -24027.2122046,
        d: 2,
        t4: 4,
        eta: 25.0,
        beta: 300.0,
        gamma: 1.19,
    },
    GaussianTerm {
        n: -283.41603424,
        d: 3,
        t4: 12,
        eta: 15.0,
        beta: 275.0,
        gamma: 1.25,
    },
    GaussianTerm {
        n: 212.472844002,
        d: 3,
        t4: 12,
        eta: 20.0,
        beta: 275.0,
        gamma: 1.22,
    },
];

/// One non-analytic term n Delta^b delta exp(-C (delta-1)^2 - D (tau-1)^2).
#[derive(Debug, Clone, Copy)]
pub struct NonAnalyticTerm {
    /// Coefficient.
    pub n: f64,
    /// Exponent of (delta-1)^2 in the distance function.
    pub a: f64,
    /// Exponent of the distance function.
    pub b: f64,
    /// Coefficient of (delta-1)^(2 a).
    pub b_capital: f64,
    /// Width in delta.
    pub c: f64,
}

/// Exponent beta of the coexistence curve in the non-analytic terms.
pub const NON_ANALYTIC_BETA: f64 = 0.3;
/// Coefficient A of the non-analytic terms.
pub const NON_ANALYTIC_A: f64 = 0.7;
/// Width D in tau of the non-analytic terms.
pub const NON_ANALYTIC_D: f64 = 275.0;
/// The three non-analytic terms.
pub const NON_ANALYTIC_TERMS: [NonAnalyticTerm; 3] = [
    NonAnalyticTerm {
        n: -0.666_422_765_408,
        a: 3.5,
        b: 0.875,
        b_capital: 0.3,
        c: 10.0,
    },
    NonAnalyticTerm {
        n: 0.726_086_323_499,
        a: 3.5,
        b: 0.925,
        b_capital: 0.3,
        c: 10.0,
    },
    NonAnalyticTerm {
        n: 0.055_068_668_612_8,
        a: 3.0,
        b: 0.875,
        b_capital: 1.0,
        c: 12.5,
    },
];

/// Molar gas constant of the solid equation [J/(mol K)].
pub const SOLID_GAS_CONSTANT: f64 = 8.314_472;
/// Reducing temperature of the solid equation [K].
pub const SOLID_TEMPERATURE: f64 = 150.0;
/// Reducing pressure of the solid equation [Pa].
pub const SOLID_PRESSURE: f64 = 101_325.0;
/// g0 .. g10 of the solid equation. g0 and g1 are not the published -2.6385478 and 4.5088732:
/// they are anchored (to 1e-12, by equal Gibbs energy with the vapour) so that solid, liquid and vapour meet at 216.592 K and the fluid equation's
/// own triple pressure 517 964.343 Pa with an enthalpy of fusion of 8875 J/mol, in the reference
/// state of this library.
pub const SOLID_G: [f64; 11] = [
    -2.638_511_834_308,
    4.508_874_326_765,
    -2.010_913_5,
    -2.797_623_7,
    0.264_278_34,
    3.825_993_5,
    0.317_119_96,
    0.002_208_719_5,
    -1.128_966_8,
    0.009_292_398_2,
    3_391.461_7,
];
/// ga0 .. ga8 of the solid equation.
pub const SOLID_GA: [f64; 9] = [
    0.039_993_365,
    0.002_394_510_1,
    0.328_394_67,
    0.057_918_471,
    0.002_394_510_1,
    -0.002_653_168_9,
    0.164_197_34,
    0.175_948_02,
    0.002_653_168_9,
];
/// Coefficients of K(t) = k0 t^2 + k1 t + k2 of the solid equation.
pub const SOLID_K: [f64; 3] = [0.226_907_51, -0.075_019_75, 0.264_429_13];

/// Auxiliary vapour-pressure equation, Span & Wagner 1996 eq. 3.13: (coefficient, exponent).
/// These auxiliary lines only start iterations.
pub const AUXILIARY_SATURATION: [(f64, f64); 4] = [
    (-7.060_208_7, 1.0),
    (1.939_121_8, 1.5),
    (-1.646_359_7, 2.0),
    (-3.299_563_4, 4.0),
];
/// Auxiliary saturated-liquid density, eq. 3.14.
pub const AUXILIARY_LIQUID: [(f64, f64); 4] = [
    (1.924_510_8, 0.34),
    (-0.623_855_55, 0.5),
    (-0.327_311_27, 10.0 / 6.0),
    (0.392_451_42, 11.0 / 6.0),
];
/// Auxiliary saturated-vapour density, eq. 3.15.
pub const AUXILIARY_VAPOUR: [(f64, f64); 5] = [
    (-1.707_487_9, 0.34),
    (-0.822_746_7, 0.5),
    (-4.600_854_9, 1.0),
    (-10.111_178, 7.0 / 3.0),
    (-29.742_252, 14.0 / 3.0),
];
/// Auxiliary sublimation pressure, eq. 3.12.
pub const AUXILIARY_SUBLIMATION: [(f64, f64); 3] =
    [(-14.740_846, 1.0), (2.432_701_5, 1.9), (-5.306_177_8, 2.9)];
/// Auxiliary melting pressure, eq. 3.10: p/pt = 1 + a x + b x^2, x = T/Tt - 1.
pub const AUXILIARY_MELTING: (f64, f64) = (1_955.539, 2_055.459_3);
