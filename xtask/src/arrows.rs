//! The arrows between rooms: which crate may use which.
//!
//! The manifests, the table below and the block in `ARCHITECTURE.md` must say
//! the same. A new arrow is a design change and touches all three.

use crate::fault::Fault;
use crate::workspace::Workspace;
use std::collections::{BTreeMap, BTreeSet};

/// Room and the rooms it uses, innermost first; `tests:` marks what only its
/// tests use. The block in `ARCHITECTURE.md` is this text.
const ARROWS: &str = "\
quantity     ->
exposure     -> quantity
sensitometry -> quantity
spectra      -> quantity
reference    ->
record       -> quantity
negative     -> quantity    tests: testkit
testkit      -> quantity record
findings     -> quantity exposure sensitometry spectra record    tests: testkit
figures      -> quantity exposure record findings spectra
report       -> quantity exposure record findings figures
notebook     -> quantity record
app          -> quantity exposure sensitometry spectra reference record negative findings figures report notebook testkit
web          -> app
cli          -> app web    tests: record testkit
";

const DOCUMENT: &str = "ARCHITECTURE.md";
const BEGIN: &str = "```arrows\n";
const END: &str = "```";

/// What a room uses.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Uses {
    always: BTreeSet<String>,
    in_tests: BTreeSet<String>,
}

pub(crate) fn faults(workspace: &Workspace) -> Result<Vec<Fault>, String> {
    let rooms = workspace.crate_folders()?;
    let allowed = parsed(ARROWS);
    let mut faults = compared(&allowed, &from_manifests(workspace, &rooms)?);
    let document = workspace.text(DOCUMENT)?;
    let drawn = document
        .split_once(BEGIN)
        .and_then(|(_, rest)| rest.split_once(END))
        .map(|(block, _)| parsed(block));
    match drawn {
        None => faults.push(Fault::new(DOCUMENT, "has no block ```arrows")),
        Some(drawn) if drawn != allowed => faults.push(Fault::new(
            DOCUMENT,
            "its block of arrows is not the table in xtask/src/arrows.rs",
        )),
        Some(_) => {}
    }
    Ok(faults)
}

/// Reads lines `room -> a b    tests: c`.
fn parsed(text: &str) -> BTreeMap<String, Uses> {
    let words = |t: &str| t.split_whitespace().map(str::to_owned).collect();
    text.lines()
        .filter_map(|line| line.split_once("->"))
        .map(|(room, uses)| {
            let (always, in_tests) = uses.split_once("tests:").unwrap_or((uses, ""));
            let uses = Uses {
                always: words(always),
                in_tests: words(in_tests),
            };
            (room.trim().to_owned(), uses)
        })
        .collect()
}

fn from_manifests(
    workspace: &Workspace,
    rooms: &[String],
) -> Result<BTreeMap<String, Uses>, String> {
    let mut found = BTreeMap::new();
    for room in rooms {
        let path = format!("crates/{room}/Cargo.toml");
        let manifest: toml::Table = workspace
            .text(&path)?
            .parse()
            .map_err(|e| format!("{path}: {e}"))?;
        let rooms_in = |table: &str| -> BTreeSet<String> {
            manifest
                .get(table)
                .and_then(toml::Value::as_table)
                .into_iter()
                .flat_map(toml::Table::keys)
                .filter(|name| rooms.contains(name))
                .cloned()
                .collect()
        };
        let uses = Uses {
            always: rooms_in("dependencies")
                .union(&rooms_in("build-dependencies"))
                .cloned()
                .collect(),
            in_tests: rooms_in("dev-dependencies"),
        };
        found.insert(room.clone(), uses);
    }
    Ok(found)
}

fn compared(allowed: &BTreeMap<String, Uses>, found: &BTreeMap<String, Uses>) -> Vec<Fault> {
    let mut faults = vec![];
    let rooms: BTreeSet<&String> = allowed.keys().chain(found.keys()).collect();
    for room in rooms {
        let place = format!("crates/{room}/Cargo.toml");
        let (Some(may), Some(does)) = (allowed.get(room), found.get(room)) else {
            faults.push(Fault::new(
                place,
                "the room stands either in the table of arrows or in crates/, not in both",
            ));
            continue;
        };
        for (may, does, kind) in [
            (&may.always, &does.always, "uses"),
            (&may.in_tests, &does.in_tests, "uses in tests"),
        ] {
            for more in does.difference(may) {
                faults.push(Fault::new(
                    &place,
                    format!("{kind} {more}, which the table does not allow"),
                ));
            }
            for less in may.difference(does) {
                faults.push(Fault::new(
                    &place,
                    format!("no longer {kind} {less}; take it out of the table"),
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
    fn an_arrow_that_is_not_in_the_table_is_a_fault() {
        let allowed = parsed("a ->\nb -> a\n");
        let found = parsed("a -> b\nb -> a\n");
        let faults = compared(&allowed, &found);
        assert_eq!(faults.len(), 1, "{faults:?}");
        assert!(faults[0].to_string().contains("uses b"), "{}", faults[0]);
    }

    #[test]
    fn an_arrow_that_went_away_is_a_fault() {
        let faults = compared(
            &parsed("a ->\nb -> a tests: c\n"),
            &parsed("a ->\nb -> a\n"),
        );
        assert_eq!(faults.len(), 1, "{faults:?}");
    }

    #[test]
    fn the_table_has_no_circle() {
        // Rooms stand innermost first, so an arrow may only lead upwards in it.
        let mut above = BTreeSet::new();
        for line in ARROWS.lines() {
            let one = parsed(line);
            for (room, uses) in one {
                assert!(uses.always.is_subset(&above), "{room} uses a room below it");
                above.insert(room);
            }
        }
        assert_eq!(above.len(), parsed(ARROWS).len());
    }
}
