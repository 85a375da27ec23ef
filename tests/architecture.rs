//! The rooms of the house and what each may import, held against the source.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Room and the rooms it may import. `units` is open to all but `numerics` and `statistics`.
/// `network` implements the integrator's `System` trait and calls no integrator.
const MAY_IMPORT: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("numerics", &[]),
    ("statistics", &[]),
    ("thermo", &["numerics"]),
    ("flow", &["thermo", "numerics"]),
    ("mechanics", &["thermo", "numerics"]),
    ("network", &["thermo", "flow", "mechanics", "numerics"]),
    ("discharge", &["network", "numerics", "mechanics", "thermo"]),
    (
        "study",
        &[
            "discharge",
            "network",
            "statistics",
            "numerics",
            "mechanics",
            "flow",
            "thermo",
        ],
    ),
    (
        "design",
        &[
            "thermo",
            "flow",
            "mechanics",
            "network",
            "discharge",
            "study",
            "statistics",
        ],
    ),
    // Traces are boundary work like the design: text in, measured data of a study out.
    ("trace", &["study"]),
    (
        "report",
        &[
            "design",
            "discharge",
            "study",
            "statistics",
            "network",
            "mechanics",
            "thermo",
        ],
    ),
];

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a readable folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// Rooms named after `crate::` in a line of code.
fn imports(line: &str) -> impl Iterator<Item = String> + '_ {
    let code = line.split("//").next().unwrap_or("");
    code.match_indices("crate::").map(|(at, word)| {
        code[at + word.len()..]
            .chars()
            .take_while(|c| c.is_ascii_alphanumeric() || *c == '_')
            .collect()
    })
}

#[test]
fn rooms_import_only_what_they_may() {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut wrong = Vec::new();
    let mut seen = 0;
    for (room, allowed) in MAY_IMPORT {
        let mut files = Vec::new();
        let folder = root.join(room);
        if folder.is_dir() {
            sources(&folder, &mut files);
        } else {
            files.push(root.join(format!("{room}.rs")));
        }
        let mut allowed: BTreeSet<&str> = allowed.iter().copied().collect();
        allowed.insert(room);
        if !["numerics", "statistics"].contains(room) {
            allowed.insert("units");
        }
        for file in files {
            let text = fs::read_to_string(&file).expect("a source file");
            for (number, line) in text.lines().enumerate() {
                for import in imports(line) {
                    seen += 1;
                    let is_room = MAY_IMPORT.iter().any(|(name, _)| *name == import)
                        || ["cli", "desk"].contains(&import.as_str());
                    if is_room && !allowed.contains(import.as_str()) {
                        wrong.push(format!(
                            "{}:{}: {}",
                            file.display(),
                            number + 1,
                            line.trim()
                        ));
                    }
                }
            }
        }
    }
    assert!(
        seen > 100,
        "only {seen} imports seen: the test no longer reads the source"
    );
    assert!(
        wrong.is_empty(),
        "imports against the table:\n{}",
        wrong.join("\n")
    );
}

/// Physics never touches files, clocks, randomness, threads' order or the terminal, and nothing
/// below the command line uses its parser or ends the process.
#[test]
fn physics_stays_physics() {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut wrong = Vec::new();
    for room in [
        "thermo",
        "flow",
        "mechanics",
        "network",
        "discharge",
        "numerics",
    ] {
        let mut files = Vec::new();
        sources(&root.join(room), &mut files);
        for file in files {
            let text = fs::read_to_string(&file).expect("a source file");
            for (number, line) in text.lines().enumerate() {
                let code = line.split("//").next().unwrap_or("");
                for word in [
                    "std::fs",
                    "std::time",
                    "Instant::",
                    "rand::",
                    "println!",
                    "eprintln!",
                    "clap",
                    "process::exit",
                    "std::env",
                ] {
                    if code.contains(word) {
                        wrong.push(format!("{}:{}: {word}", file.display(), number + 1));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
