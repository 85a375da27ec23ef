//! The tables against the equations they were made from: the error bounds that
//! `thermo::surface` and `thermo::line_table` state.

use coldkick::flow::discharge_flux::{pure, pure_from};
use coldkick::flow::hint::Hint;
use coldkick::flow::stagnation::Stagnation;
use coldkick::flow::{FluxModel, saturated_table};
use coldkick::network::heat::{GRAVITY, churchill_chu_plate, from_outside};
use coldkick::network::spec::{InsideHeat, OutsideHeat, Wall};
use coldkick::network::transport;
use coldkick::thermo::flash::at_temperature_density_with;
use coldkick::thermo::fluids::carbon_dioxide as co2;
use coldkick::thermo::source::{Equations, PropertySource, Tables};
use coldkick::thermo::{Coexistence, FluidPoint, air, saturated_vapour, surface};

/// Differences of the properties, each as a share of its ideal-gas and residual parts together.
fn difference(found: &FluidPoint, wanted: &FluidPoint) -> [(&'static str, f64); 6] {
    let r = co2::SPECIFIC_GAS_CONSTANT;
    let (t, rho) = (wanted.temperature, wanted.density);
    let of = |a: f64, b: f64, scale: f64| ((a - b) / (scale + b.abs())).abs();
    [
        ("pressure", of(found.pressure, wanted.pressure, rho * r * t)),
        (
            "internal energy",
            of(found.internal_energy, wanted.internal_energy, r * t),
        ),
        ("entropy", of(found.entropy, wanted.entropy, r)),
        ("cv", of(found.cv, wanted.cv, r)),
        ("dp_dt", of(found.dp_dt, wanted.dp_dt, rho * r)),
        ("dp_drho", of(found.dp_drho, wanted.dp_drho, r * t)),
    ]
}

/// Whether a vessel or a throat can be there: gas, also some way into supersaturation, liquid and
/// dense fluid.
fn is_met(t: f64, rho: f64) -> bool {
    if t >= co2::CRITICAL_TEMPERATURE {
        return true;
    }
    if t < co2::TRIPLE_TEMPERATURE {
        let line = Tables.sublimation(t).expect("on the line");
        return rho < 1.7 * line.light.density();
    }
    let line = Tables.saturation(t).expect("on the line");
    rho < 1.3 * line.light.density() || rho > 0.95 * line.heavy.density()
}

#[test]
fn surface_keeps_its_bounds_where_states_are_met() {
    // A lattice that hits no node: irrational strides over 140 .. 640 K, 0 .. 1200 kg/m3.
    let mut worst = [("", 0.0, 0.0, 0.0); 6];
    for i in 0..200_000u32 {
        let u = (f64::from(i) * 0.618_033_988_749_895).fract();
        let v = (f64::from(i) * 0.754_877_666_246_693).fract();
        let (t, rho) = (140.0 + 500.0 * u * u, 1200.0 * v * v + 1e-3);
        if !is_met(t, rho) {
            continue;
        }
        let (found, wanted) = (Tables.fluid(t, rho), Equations.fluid(t, rho));
        for (worst, (name, error)) in worst.iter_mut().zip(difference(&found, &wanted)) {
            if error > worst.1 {
                *worst = (name, error, t, rho);
            }
        }
    }
    let (good, all) = surface::filled();
    println!("{good} of {all} rectangles by polynomial");
    for (name, error, t, rho) in worst {
        println!("{name}: {error:.2e} at {t:.3} K, {rho:.3} kg/m3");
    }
    assert!(good as f64 > 0.9 * all as f64, "{good} of {all}");
    for (name, error, t, rho) in worst {
        let bound = match name {
            "pressure" | "internal energy" | "entropy" => 4.0 * surface::FIRST_TOLERANCE,
            _ => 4.0 * surface::SECOND_TOLERANCE,
        };
        assert!(error < bound, "{name}: {error:e} at {t} K, {rho} kg/m3");
    }
}

fn line_difference(found: &Coexistence, wanted: &Coexistence) -> f64 {
    let relative = |a: f64, b: f64| (a / b - 1.0).abs();
    let energy = co2::SPECIFIC_GAS_CONSTANT * wanted.temperature;
    [
        relative(found.pressure, wanted.pressure),
        relative(found.heavy.volume, wanted.heavy.volume),
        relative(found.light.volume, wanted.light.volume),
        (found.heavy.internal_energy - wanted.heavy.internal_energy).abs() / energy,
        (found.light.internal_energy - wanted.light.internal_energy).abs() / energy,
        (found.heavy.entropy - wanted.heavy.entropy).abs() / co2::SPECIFIC_GAS_CONSTANT,
        (found.light.entropy - wanted.light.entropy).abs() / co2::SPECIFIC_GAS_CONSTANT,
    ]
    .into_iter()
    .fold(0.0, f64::max)
}

#[test]
fn lines_keep_their_bounds() {
    let mut worst = (0.0, 0.0);
    for i in 0..4000 {
        let t = 120.0 + (304.02 - 120.0) * (f64::from(i) + 0.37) / 4000.0;
        let (found, wanted) = if t < co2::TRIPLE_TEMPERATURE {
            (Tables.sublimation(t), Equations.sublimation(t))
        } else {
            (Tables.saturation(t), Equations.saturation(t))
        };
        let error = line_difference(&found.unwrap(), &wanted.unwrap());
        if error > worst.0 {
            worst = (error, t);
        }
    }
    println!("worst {:.2e} at {:.3} K", worst.0, worst.1);
    assert!(worst.0 < 1e-8, "{:e} at {} K", worst.0, worst.1);
    for below in [0.09, 0.05, 0.02, 0.011] {
        let t = co2::CRITICAL_TEMPERATURE - below;
        let error = line_difference(
            &Tables.saturation(t).unwrap(),
            &Equations.saturation(t).unwrap(),
        );
        assert!(
            error < 1e-6,
            "{error:e} at {below} K below the critical point"
        );
    }
}

/// Temperatures by table at 2000 pressures in a range [Pa], and whether the line has those pressures there.
fn temperatures_are_those_of_the_line(
    (low, high): (f64, f64),
    by_table: impl Fn(f64) -> Option<f64>,
    line: impl Fn(f64) -> Coexistence,
    tolerance: f64,
) {
    let mut known = 0;
    for i in 0..2000 {
        let pressure = low * (high / low).powf((f64::from(i) + 0.37) / 2000.0);
        let Some(t) = by_table(pressure) else {
            continue;
        };
        known += 1;
        let error = (line(t).pressure / pressure - 1.0).abs();
        assert!(error < tolerance, "{error:e} at {pressure} Pa");
    }
    assert!(known > 1900, "{known} of 2000");
}

#[test]
fn boiling_temperatures_are_those_of_the_line() {
    let line = |t| Equations.saturation(t).unwrap();
    let by_table = |pressure| Tables.boiling_temperature(pressure);
    temperatures_are_those_of_the_line((5.3e5, 7.3e6), by_table, line, 2e-8);
    assert_eq!(Equations.boiling_temperature(2e6), None);
    assert_eq!(Tables.boiling_temperature(1e5), None);
}

#[test]
fn subliming_temperatures_are_those_of_the_line() {
    let line = |t| Equations.sublimation(t).unwrap();
    let by_table = |pressure| Tables.subliming_temperature(pressure);
    temperatures_are_those_of_the_line((60.0, 5.179e5), by_table, line, 5e-8);
    assert_eq!(Equations.subliming_temperature(1e5), None);
    assert_eq!(Tables.subliming_temperature(6e5), None);
}

#[test]
fn saturated_vapour_is_that_of_the_equations() {
    let mut known = [0, 0];
    let mut worst = ("", 0.0, 0.0);
    for i in 0..3000 {
        let t = 125.0 + (co2::CRITICAL_TEMPERATURE - 0.1 - 125.0) * (f64::from(i) + 0.31) / 3000.0;
        let [tabled, solved] = if t < co2::TRIPLE_TEMPERATURE {
            [Tables.sublimation(t), Equations.sublimation(t)]
        } else {
            [Tables.saturation(t), Equations.saturation(t)]
        }
        .map(Result::unwrap);
        let (found, wanted) = (Tables.vapour(&tabled), Equations.vapour(&solved));
        // Whether it came from curves or, near the critical point, from the surface.
        for (name, error) in difference(&found, &wanted) {
            if error > worst.1 {
                worst = (name, error, t);
            }
        }
        let least = saturated_vapour::least_density(t).unwrap();
        let here = solved.light.density();
        assert!(
            least <= here && least > 0.75 * here,
            "{least} at {t} K, {here} there"
        );
        known[0] += usize::from(saturated_vapour::point(&tabled).is_some());
        let Some(dew) = Tables.dew_temperature(solved.light.entropy) else {
            continue;
        };
        known[1] += 1;
        assert!((dew - t).abs() < 1e-6, "{dew} at {t} K");
    }
    println!("{worst:?} {known:?}");
    assert!(worst.1 < 1e-6, "{worst:?}");
    assert!(known[0] > 2900 && known[1] > 2800, "{known:?} of 3000");
    assert_eq!(Equations.dew_temperature(1700.0), None);
}

#[test]
fn saturated_phases_flow_by_tables_as_by_the_equations() {
    let mut worst = 0.0_f64;
    for t in [
        225.0, 236.3, 248.1, 259.7, 268.4, 275.9, 283.2, 290.8, 297.5, 299.6, 301.7, 303.1, 303.8,
    ] {
        let [tabled, solved] = [
            Tables.saturation(t).unwrap(),
            Equations.saturation(t).unwrap(),
        ];
        let states = [
            (
                Stagnation::light(&Tables, &tabled),
                Stagnation::light(&Equations, &solved),
            ),
            (
                Stagnation::liquid(&Tables, &tabled),
                Stagnation::liquid(&Equations, &solved),
            ),
        ];
        for (found, wanted) in &states {
            for drop in [1e-3, 0.05, 0.21, 0.37, 0.49, 0.51, 0.66, 0.8, 0.93] {
                let receiver = solved.pressure * (1.0 - drop);
                for model in [FluxModel::Equilibrium, FluxModel::Frozen] {
                    let found = pure(&Tables, model, found, receiver).unwrap();
                    let wanted = pure(&Equations, model, wanted, receiver).unwrap();
                    let error = (found.mass_flux / wanted.mass_flux - 1.0).abs();
                    worst = worst.max(error);
                    assert!(
                        error < 4.0 * saturated_table::TOLERANCE,
                        "{model:?} {t} K, drop {drop}: {} for {}",
                        found.mass_flux,
                        wanted.mass_flux
                    );
                    assert_eq!(found.choked, wanted.choked, "{model:?} {t} K, drop {drop}");
                }
            }
        }
    }
    let (good, all) = saturated_table::filled();
    println!("worst {worst:.1e}, {good} of {all} pieces answer");
    assert!(all > 60, "{all} pieces asked");
    assert!(good as f64 > 0.9 * all as f64, "{good} of {all}");
}

#[test]
fn air_by_its_table_is_air() {
    for i in 0..5000 {
        let t = 61.0 + 1150.0 * (f64::from(i) + 0.37) / 5000.0;
        let ((energy, heat), (e, c)) = (air::internal_energy_and_cv(t), air::solved(t));
        assert!((energy / e - 1.0).abs() < 1e-13, "energy at {t} K");
        assert!((heat / c - 1.0).abs() < 1e-12, "heat at {t} K");
    }
    // Beyond the table the law answers.
    for t in [20.0, 59.9, 1213.0, 5000.0] {
        assert_eq!(air::internal_energy_and_cv(t), air::solved(t));
    }
}

#[test]
fn transport_by_its_table_is_that_of_the_laws() {
    let near = |a: f64, b: f64, t: f64| assert!((a / b - 1.0).abs() < 1e-12, "at {t} K");
    for i in 0..5000 {
        let t = 61.0 + 1150.0 * (f64::from(i) + 0.37) / 5000.0;
        let (co2, air) = transport::both(t);
        for (found, law) in [(co2, transport::co2(t)), (air, transport::air(t))] {
            near(found.viscosity, law.viscosity, t);
            near(found.conductivity, law.conductivity, t);
        }
    }
    // Beyond the table the laws answer.
    for t in [20.0, 59.9, 1213.0, 5000.0] {
        assert_eq!(
            transport::both(t),
            (transport::co2(t), transport::air(t)),
            "at {t} K"
        );
    }
}

/// Against the law of the plate, its film at the mean temperature, written out.
#[test]
fn heat_from_still_air_by_its_table_is_that_of_the_law() {
    let (height, pressure) = (0.15, 82_000.0);
    for (shell, ambient) in [(253.0, 301.0), (279.9, 280.0), (320.0, 265.0), (20.0, 60.0)] {
        let wall = Wall {
            heat_capacity: 100.0,
            temperature: shell,
            conduction_resistance: 0.2,
            inner_area: 0.06,
            outer_area: 0.064,
            inside: InsideHeat::Coefficient(1.0),
            outside: OutsideHeat::NaturalConvection { height },
            solar: 3.0,
        };
        let film = 0.5 * (shell + ambient);
        let law = transport::air(film);
        let density = pressure / (air::GAS_CONSTANT * film);
        let difference: f64 = ambient - shell;
        let rayleigh =
            GRAVITY * difference.abs() / film * height.powi(3) * density * density * 1005.0
                / (law.viscosity * law.conductivity);
        let prandtl = 1005.0 * law.viscosity / law.conductivity;
        let coefficient = churchill_chu_plate(rayleigh, prandtl) * law.conductivity / height;
        let wanted = 3.0 + difference / (1.0 / (coefficient * wall.outer_area) + 0.1);
        let found = from_outside(&wall, shell, ambient, pressure);
        assert!(
            (found / wanted - 1.0).abs() < 1e-11,
            "{found} against {wanted}"
        );
    }
}

/// Gases, and vapour beside dry ice, that have dry ice in them before they are out.
#[test]
fn what_forms_dry_ice_flows_by_tables_as_by_the_equations() {
    let mut met = (0, 0, 0);
    let mut check = |tabled: &Stagnation, solved: &Stagnation, hint: &Hint| {
        for share in [0.0, 0.15, 0.3, 0.45, 0.55, 0.65, 0.8, 0.93, 0.995] {
            let receiver = share * solved.pressure;
            let wanted = pure(&Equations, FluxModel::Equilibrium, solved, receiver).unwrap();
            let fresh = pure(&Tables, FluxModel::Equilibrium, tabled, receiver).unwrap();
            let model = FluxModel::Equilibrium;
            let followed = pure_from(&Tables, model, tabled, receiver, hint).unwrap();
            for (how, found) in [("fresh", &fresh), ("followed", &followed)] {
                let error = (found.mass_flux / wanted.mass_flux - 1.0).abs();
                assert!(
                    error < 1e-6,
                    "{how}: {error:e} from {:.2} K, {:.4e} Pa to {receiver:.4e} Pa: {found:?}, {wanted:?}",
                    solved.temperature,
                    solved.pressure
                );
                let apart = (found.throat_pressure / wanted.throat_pressure - 1.0).abs();
                assert!(
                    apart < 1e-4,
                    "{how}: throat {apart:e} from {:.2} K, {:.4e} Pa to {receiver:.4e} Pa: {found:?}, {wanted:?}",
                    solved.temperature,
                    solved.pressure
                );
                // Where the receiver is said not to matter it does not.
                let lower = 0.5 * found.unmoved_up_to;
                if lower > 0.0 {
                    let lower = pure(&Equations, FluxModel::Equilibrium, solved, lower).unwrap();
                    let moved = (lower.mass_flux / found.mass_flux - 1.0).abs();
                    assert!(moved < 1e-6, "{how}: {moved:e} from {solved:?}");
                }
            }
            if wanted.throat_pressure < 0.999 * co2::TRIPLE_PRESSURE_ROUNDED {
                met.0 += 1;
                met.1 += usize::from(wanted.choked);
                met.2 += usize::from(fresh.unmoved_up_to > 0.0);
            }
        }
    };
    for pressure in [
        0.4e5, 1.1e5, 2.3e5, 3.7e5, 5.0e5, 6.1e5, 7.4e5, 8.6e5, 9.8e5, 12e5,
    ] {
        let hint = Hint::default();
        for i in 0..40 {
            let t = 172.0 + 2.5 * f64::from(i);
            let density = pressure / (co2::SPECIFIC_GAS_CONSTANT * t);
            let density = (0..60).fold(density, |rho, _| {
                rho * pressure / FluidPoint::new(t, rho).pressure
            });
            let line = if t < co2::TRIPLE_TEMPERATURE {
                Equations.sublimation(t)
            } else {
                Equations.saturation(t)
            };
            if density > line.unwrap().light.density() {
                continue;
            }
            let [tabled, solved] =
                [Tables.fluid(t, density), Equations.fluid(t, density)].map(Stagnation::single);
            check(&tabled, &solved, &hint);
        }
    }
    // Saturated vapour, up to where its throat is well above the triple point.
    let hint = Hint::default();
    for i in 0..70 {
        let t = 175.0 + 0.7 * f64::from(i);
        let [tabled, solved] = if t < co2::TRIPLE_TEMPERATURE {
            [Tables.sublimation(t), Equations.sublimation(t)]
        } else {
            [Tables.saturation(t), Equations.saturation(t)]
        }
        .map(Result::unwrap);
        check(
            &Stagnation::light(&Tables, &tabled),
            &Stagnation::light(&Equations, &solved),
            &hint,
        );
    }
    // Vapour with dry ice, and with liquid above the triple point.
    for quality in [0.15, 0.4, 0.7, 0.95] {
        let hint = Hint::default();
        for i in 0..30 {
            let t = 182.0 + 1.5 * f64::from(i);
            let line = if t < co2::TRIPLE_TEMPERATURE {
                Equations.sublimation(t)
            } else {
                Equations.saturation(t)
            }
            .unwrap();
            let volume = line.heavy.volume + quality * (line.light.volume - line.heavy.volume);
            let solved = at_temperature_density_with(&Equations, t, 1.0 / volume).unwrap();
            let tabled = at_temperature_density_with(&Tables, t, 1.0 / volume).unwrap();
            let vapour = Equations.vapour(&line);
            check(
                &Stagnation::mixture(&Tables, &tabled, vapour),
                &Stagnation::mixture(&Equations, &solved, vapour),
                &hint,
            );
        }
    }
    println!("{met:?}");
    assert!(met.0 > 3000 && met.1 > 1600 && met.2 > 1400, "{met:?}");
}
