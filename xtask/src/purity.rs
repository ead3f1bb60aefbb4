//! Pure rooms: no file, socket, clock, environment, chance of their own, printing.
//!
//! Three nets, none perfect alone: the room's `clippy.toml` forbids the calls,
//! its manifest must not name crates that exist to do such things, and its
//! source must not name their modules. Tests in a room may read their goldens.

use crate::fault::Fault;
use crate::workspace::Workspace;

/// Rooms that may touch the world; every other is pure.
const OPEN_ROOMS: &[&str] = &["notebook", "app", "web", "cli"];

/// Each method that a pure room's `clippy.toml` must forbid.
const FORBIDDEN_METHODS: &[&str] = &[
    "std::fs::read",
    "std::fs::read_to_string",
    "std::fs::write",
    "std::fs::File::open",
    "std::fs::File::create",
    "std::env::var",
    "std::env::args",
    "std::time::SystemTime::now",
    "std::time::Instant::now",
    "std::net::TcpStream::connect",
    "std::net::TcpListener::bind",
];

/// What the source of a pure room must not name outside its tests.
const FORBIDDEN_TEXT: &[&str] = &[
    "std::fs",
    "std::env::",
    "std::net",
    "std::process",
    "std::time::",
    "SystemTime",
    "println!",
    "print!(",
    "Serialize",
    "from_os_rng",
    "thread_rng",
];

/// Crates for formats, files and clocks.
const FORBIDDEN_CRATES: &[&str] = &[
    "serde",
    "serde_json",
    "toml",
    "csv",
    "jiff",
    "tempfile",
    "clap",
];

/// Formats that a pure room owns: the field card's page is handed its plan as JSON.
const OWN_FORMATS: &[(&str, &str)] = &[("report", "serde_json")];

pub(crate) fn faults(workspace: &Workspace) -> Result<Vec<Fault>, String> {
    let mut faults = vec![];
    for room in workspace.crate_folders()? {
        if OPEN_ROOMS.contains(&room.as_str()) {
            continue;
        }
        faults.extend(settings(workspace, &room));
        faults.extend(manifest(workspace, &room)?);
        for file in workspace.files_under(&format!("crates/{room}/src"))? {
            if file.ends_with(".rs") {
                faults.extend(named(&file, &workspace.text(&file)?));
            }
        }
    }
    Ok(faults)
}

fn settings(workspace: &Workspace, room: &str) -> Vec<Fault> {
    let place = format!("crates/{room}/clippy.toml");
    let Ok(text) = workspace.text(&place) else {
        return vec![Fault::new(place, "a pure room needs one")];
    };
    FORBIDDEN_METHODS
        .iter()
        .filter(|method| !text.contains(&format!("\"{method}\"")))
        .map(|method| Fault::new(&place, format!("does not forbid {method}")))
        .collect()
}

fn manifest(workspace: &Workspace, room: &str) -> Result<Vec<Fault>, String> {
    let place = format!("crates/{room}/Cargo.toml");
    let manifest: toml::Table = workspace
        .text(&place)?
        .parse()
        .map_err(|e| format!("{place}: {e}"))?;
    let dependencies = manifest.get("dependencies").and_then(toml::Value::as_table);
    Ok(FORBIDDEN_CRATES
        .iter()
        .filter(|name| dependencies.is_some_and(|d| d.contains_key(**name)))
        .filter(|name| {
            !OWN_FORMATS
                .iter()
                .any(|(owner, format)| format == *name && place.contains(&format!("/{owner}/")))
        })
        .map(|name| Fault::new(&place, format!("a pure room does not use {name}")))
        .collect())
}

/// Looks line by line, up to the tests at the end of the file.
fn named(place: &str, source: &str) -> Vec<Fault> {
    let mut faults = vec![];
    for (number, line) in source.lines().enumerate() {
        if line.trim_start().starts_with("#[cfg(test)]") {
            break;
        }
        if line.trim_start().starts_with("//") {
            continue;
        }
        for text in FORBIDDEN_TEXT {
            if line.contains(text) {
                faults.push(Fault::new(
                    format!("{place}:{}", number + 1),
                    format!("a pure room does not use {text}"),
                ));
            }
        }
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_is_found_and_a_test_may_have_one() {
        assert_eq!(
            named("a.rs", "fn f() {}\nlet t = SystemTime::now();\n").len(),
            1
        );
        assert!(named("a.rs", "#[cfg(test)]\nlet t = SystemTime::now();\n").is_empty());
        assert!(named("a.rs", "// SystemTime is not for us\n").is_empty());
    }
}
