//! Tether and atmosphere against published and worked values.

mod common;

use coldkick::mechanics::seal::{coupler_under_moment, o_ring_breakout, o_ring_running};
use coldkick::mechanics::tether::{damped_peak, rope_axial_stiffness, rope_fall, snatch};
use coldkick::network::atmosphere::standard_air;
use common::{close, number, published};

#[test]
fn tether_benchmarks() {
    let rows = published("tether-benchmarks");
    let value = |case: &str| {
        let row = rows
            .iter()
            .find(|row| row["case"] == case)
            .expect("a case of the set");
        number(row, "value")
    };
    let peak = snatch(10.0, 5_000.0, 8.0 / 9.0).expect("in range");
    close("force", peak.force, value("snatch_force"), 8e-6);
    close("stretch", peak.stretch, value("snatch_stretch"), 4e-5);
    close("energy", peak.energy, value("snatch_energy"), 2e-5);
    let stiffness = rope_axial_stiffness(80.0, 1.77, 9_000.0).expect("in range");
    close("EA", stiffness, value("rope_axial_stiffness"), 2.1e-5);
    close(
        "back",
        rope_fall(80.0, 1.77, stiffness).expect("in range"),
        9_000.0,
        1e-12,
    );
}

#[test]
fn damped_snatch_matches_a_fine_integration() {
    let (v0, k, mu) = (10.0, 5_000.0, 0.9);
    for c in [0.0, 10.0, 40.0, 66.0, 120.0] {
        // Exact propagation of the linear oscillator in small steps, greatest tension kept.
        let (mut s, mut v, h) = (0.0_f64, v0, 1e-7);
        let mut most = c * v0;
        for _ in 0..400_000 {
            let a = -(k * s + c * v) / mu;
            let (sm, vm) = (s + 0.5 * h * v, v + 0.5 * h * a);
            let am = -(k * sm + c * vm) / mu;
            (s, v) = (s + h * vm, v + h * am);
            most = most.max(k * s + c * v);
        }
        close(
            "peak",
            damped_peak(v0, k, mu, c).expect("in range"),
            most,
            1e-9,
        );
    }
}

#[test]
fn standard_atmosphere() {
    for row in published("iso-2533-1975") {
        let altitude = number(&row, "altitude");
        let air = standard_air(altitude).expect("in range");
        close(
            "temperature",
            air.temperature,
            number(&row, "temperature"),
            3e-6,
        );
        // Five printed digits, four in one or two rows of small numbers.
        close("pressure", air.pressure, number(&row, "pressure"), 5e-5);
        let density = air.pressure / (287.052_87 * air.temperature);
        close("density", density, number(&row, "density"), 5e-5);
    }
    assert!(standard_air(60_000.0).is_none());
}

#[test]
fn friction_bands_scale_and_order() {
    let (small, large) = (
        o_ring_running(0.05).expect("ok"),
        o_ring_running(0.1).expect("ok"),
    );
    close("circumference", large.most, 2.0 * small.most, 1e-14);
    let breakout = o_ring_breakout(0.1).expect("ok");
    assert!(breakout.least >= large.least && breakout.most == 3.0 * large.most);
    // A couple of 5 N m over 100 mm is two forces of 50 N.
    let coupler = coupler_under_moment(5.0, 0.1).expect("ok");
    close("least", coupler.least, 0.1 * 100.0, 1e-14);
    close("most", coupler.most, 0.6 * 100.0, 1e-14);
    assert!(coupler_under_moment(5.0, 0.0).is_err());
    assert!(o_ring_running(f64::NAN).is_err());
}
