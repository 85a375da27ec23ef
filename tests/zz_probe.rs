use coldkick::design::Design;
use coldkick::discharge::{Settings, run};
#[test]
fn tol() {
    for (d, draw) in [
        ("tern-primary", ""),
        ("tern-primary", "liquid"),
        ("tern-primary", "mixed"),
        ("dunlin-bench", ""),
        ("gannet-reservoir-backup", ""),
    ] {
        let p = format!("fixtures/designs/{d}.ron");
        let mut text = std::fs::read_to_string(&p).unwrap();
        if !draw.is_empty() {
            text = text.replace("choice vapour: 70 %, mixed: 30 %", draw);
        }
        let design = Design::parse(d, &text).unwrap();
        let (mut sys, _) = design.system(&design.central()).unwrap();
        for hold in [false, true] {
            let mut refv = None;
            for (tol, hor) in [
                (1e-7, 9.0),
                (1e-6, 9.),
                (1e-5, 9.),
                (1e-4, 9.),
                (1e-3, 9.),
                (1e-5, 0.25),
            ] {
                sys.horizon = sys.horizon.min(hor);
                let s = Settings {
                    relative_tolerance: tol,
                    hold_nose: hold,
                    most_steps: 1500,
                    ..Settings::default()
                };
                let t = std::time::Instant::now();
                let r = run(&sys, &s);
                let el = t.elapsed();
                let r = match r {
                    Ok(r) => r,
                    Err(e) => {
                        println!("{d} {draw} hold {hold} tol {tol:e} ERR {e} {el:?}");
                        continue;
                    }
                };
                let o = &r.outcome;
                let v = [
                    o.peak_bay_pressure.value,
                    o.pins_break_time.unwrap_or(f64::NAN),
                    o.clear_time.unwrap_or(f64::NAN),
                    o.exit_speed.unwrap_or(f64::NAN),
                ];
                let rv = *refv.get_or_insert(v);
                let e: Vec<String> = v
                    .iter()
                    .zip(rv)
                    .map(|(a, b)| format!("{:.1e}", (a / b - 1.0).abs()))
                    .collect();
                println!(
                    "{d} {draw} hold {hold} tol {tol:e} to {}: {:?} steps {} stiff {} rej {} evals {} err {}",
                    sys.horizon,
                    el,
                    r.audit.steps,
                    r.audit.stiff_steps,
                    r.audit.rejected_steps,
                    r.audit.evaluations,
                    e.join(" ")
                );
            }
            sys.horizon = design.system(&design.central()).unwrap().0.horizon;
        }
    }
}
