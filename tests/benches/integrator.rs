//! Time of one integration of a smooth and of a stiff problem of eight components.

use coldkick::numerics::integrate::{Integrator, Settings, System};
use std::convert::Infallible;

fn main() {
    divan::main();
}

/// Four oscillators.
struct Smooth;

impl System for Smooth {
    type Error = Infallible;
    fn rates(&mut self, _: f64, y: &[f64], rates: &mut [f64]) -> Result<(), Infallible> {
        for (i, (y, rates)) in y.chunks_exact(2).zip(rates.chunks_exact_mut(2)).enumerate() {
            let omega = 1.0 + 0.25 * i as f64;
            (rates[0], rates[1]) = (omega * y[1], -omega * y[0]);
        }
        Ok(())
    }
}

/// A chain of vessels with one fast link.
struct Chain;

impl System for Chain {
    type Error = Infallible;
    fn rates(&mut self, _: f64, y: &[f64], rates: &mut [f64]) -> Result<(), Infallible> {
        rates.fill(0.0);
        for i in 0..7 {
            let flow = if i == 3 { 1e5 } else { 1.0 } * (y[i] - y[i + 1]);
            rates[i] -= flow;
            rates[i + 1] += flow;
        }
        Ok(())
    }
}

fn run<S: System<Error = Infallible>>(bencher: divan::Bencher<'_, '_>, mut system: S) {
    let Ok(mut integrator) = Integrator::new(8, 0, Settings::default()) else {
        return;
    };
    bencher.bench_local(|| {
        integrator.start(0.0, &[1.0, 0.0, 1.0, 0.0, 1.0, 0.0, 1.0, 0.0]);
        integrator.advance(&mut system, 4.0, &mut |_, _| {}).is_ok()
    });
}

#[divan::bench]
fn smooth(bencher: divan::Bencher<'_, '_>) {
    run(bencher, Smooth);
}

#[divan::bench]
fn stiff(bencher: divan::Bencher<'_, '_>) {
    run(bencher, Chain);
}
