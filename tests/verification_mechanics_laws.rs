//! Laws of tether and seals against an integration of their own and against each other.

mod common;

use coldkick::mechanics::seal::{coupler_under_moment, o_ring_breakout, o_ring_running};
use coldkick::mechanics::tether::damped_peak;
use common::close;

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
