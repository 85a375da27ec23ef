//! No text makes the reader panic, and whatever it accepts is a finite system.

use coldkick::design::{Design, edit};
use coldkick::network::spec::System;
use proptest::prelude::*;

const DESIGNS: [&str; 4] = [
    include_str!("../fixtures/designs/tern-primary.ron"),
    include_str!("../fixtures/designs/dunlin-bench.ron"),
    include_str!("../fixtures/designs/gannet-reservoir-backup.ron"),
    include_str!("../fixtures/designs/sizing-tern.ron"),
];

fn is_finite(system: &System) -> bool {
    let vessels = system.vessels.iter().all(|vessel| {
        [
            vessel.volume,
            vessel.co2_mass,
            vessel.air_mass,
            vessel.temperature,
        ]
        .iter()
        .all(|value| value.is_finite() && *value >= 0.0)
    });
    let paths = system.paths.iter().all(|path| {
        path.area.is_finite()
            && path.area >= 0.0
            && path.friction_number.is_finite()
            && (0.0..=1.0).contains(&path.discharge_coefficient)
    });
    vessels && paths && system.horizon.is_finite()
}

/// Reads a text; whatever comes out must be usable.
fn exercise(text: &str) {
    match Design::parse("mutated.ron", text) {
        Ok(design) => {
            let (system, _) = design
                .system(&design.central())
                .expect("central values are valid");
            assert!(is_finite(&system));
        }
        Err(error) => {
            assert!(!error.to_string().is_empty());
            let mut picture = String::new();
            let handler =
                miette::GraphicalReportHandler::new_themed(miette::GraphicalTheme::none());
            handler
                .render_report(&mut picture, &error)
                .expect("an error can be shown");
        }
    }
}

fn nearest_boundary(text: &str, at: usize) -> usize {
    (0..=at.min(text.len()))
        .rev()
        .find(|at| text.is_char_boundary(*at))
        .unwrap_or(0)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn a_design_with_a_stretch_replaced_never_panics(
        which in 0usize..3,
        at in 0.0f64..1.0,
        length in 0usize..60,
        with in "(\\PC{0,12}|[(){}\\[\\]:,\"'/*#$. ]{0,6}|\"-?[0-9.e]{1,6} ?(g|mm|bar|degC|%)\")",
    ) {
        let text = DESIGNS[which];
        let start = nearest_boundary(text, (at * text.len() as f64) as usize);
        let end = nearest_boundary(text, start + length).max(start);
        exercise(&format!("{}{}{}", &text[..start], with, &text[end..]));
    }

    #[test]
    fn a_design_cut_short_never_panics(which in 0usize..3, at in 0.0f64..1.0) {
        let text = DESIGNS[which];
        exercise(&text[..nearest_boundary(text, (at * text.len() as f64) as usize)]);
    }

    #[test]
    fn any_text_at_all_never_panics(text in "(\\PC|[(){}\\[\\]:,\"\n ]){0,80}") {
        exercise(&text);
    }

    /// Each quoted value in turn replaced by another that may or may not fit.
    #[test]
    fn a_value_replaced_never_panics(
        which in 0usize..3,
        nth in 0usize..120,
        value in "(-?[0-9]{1,3}(\\.[0-9])? ?(g|kg|mm|mm2|mL|degC|K|bara|barg|psig|ms|N|%|)|\
                  (normal|uniform|lognormal|beta|choice|sample|weibull)( ?[0-9]{1,2} (g|mm|N|K)| sd| \\.\\.| factor| shape|,|:){0,5}|\
                  \\$[a-z]{0,5}( [+-] 5 K)?)",
    ) {
        let text = DESIGNS[which];
        let quotes: Vec<usize> = text.match_indices('"').map(|(at, _)| at).collect();
        let pair = (nth * 2) % (quotes.len() - 1);
        let (start, end) = (quotes[pair & !1], quotes[pair | 1]);
        exercise(&format!("{}\"{}{}", &text[..start], value, &text[end..]));
    }

    #[test]
    fn setting_any_path_to_any_value_never_panics(
        path in "(vessels|paths|nose|site|criteria|shared|correlations)(\\.(cartridge|bay|valve|wall|inside|pins|0|opening|volume|soak|\\PC{1,4})){0,4}",
        value in "\\PC{0,16}",
    ) {
        for text in DESIGNS {
            if let Ok(changed) = edit::set("design.ron", text, &path, &value) {
                exercise(&changed);
            }
        }
    }

    /// Draws from anywhere inside the support make a system or a named error.
    #[test]
    fn any_draw_is_a_system_or_a_named_error(which in 0usize..3, uniforms in prop::collection::vec(0.001f64..0.999, 64)) {
        let design = Design::parse("design.ron", DESIGNS[which]).unwrap();
        let values: Vec<f64> = design
            .inputs()
            .iter()
            .zip(uniforms.iter().cycle())
            .map(|(input, uniform)| input.distribution.quantile(*uniform))
            .collect();
        match design.system(&values) {
            Ok((system, _)) => prop_assert!(is_finite(&system)),
            Err(error) => prop_assert!(error.field().is_some()),
        }
    }
}

/// A value read back is the value set, for every quoted value of the shipped designs.
#[test]
fn every_value_written_can_be_set_to_itself() {
    for text in DESIGNS {
        let design = Design::parse("design.ron", text).unwrap();
        for input in design.inputs() {
            let path = input.path.split('#').next().unwrap();
            if let Some(value) = edit::get(text, path) {
                assert_eq!(
                    edit::set("design.ron", text, path, &value).unwrap(),
                    text,
                    "{path}"
                );
            }
        }
    }
}

/// Numbers far from any rocket, in any field that holds one: whatever is refused is refused in a sentence that can be
/// read, without hundreds of digits.
#[test]
fn absurd_numbers_are_refused_shortly() {
    for text in DESIGNS {
        let quotes: Vec<usize> = text.match_indices('"').map(|(at, _)| at).collect();
        let fields: Vec<&str> = quotes
            .chunks_exact(2)
            .filter_map(|quotes| text.get(quotes[0] + 1..quotes[1]))
            .filter(|field| field.starts_with(|c: char| c.is_ascii_digit()))
            .collect();
        assert!(fields.len() > 10);
        let mut refused = 0;
        for field in &fields {
            let number = field.split(' ').next().unwrap_or_default();
            for absurd in ["1e300", "-1e300", "1e-300"] {
                let quoted = format!("\"{field}\"");
                let instead = format!("\"{}\"", field.replacen(number, absurd, 1));
                let changed = text.replacen(&quoted, &instead, 1);
                let problem = match Design::parse("absurd.ron", &changed) {
                    Ok(design) => design.system(&design.central()).err(),
                    Err(error) => Some(error),
                };
                let Some(problem) = problem else { continue };
                refused += 1;
                let said = problem.to_string();
                let longest = said.split_whitespace().map(str::len).max().unwrap_or(0);
                assert!(longest < 60, "{instead}: {said}");
            }
        }
        assert!(refused > fields.len(), "{refused} of {}", fields.len());
    }
}
