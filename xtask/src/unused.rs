//! Dependencies that a manifest names and no source uses.
//!
//! A name counts as used where a path begins with it or a `use` names it, so
//! this misses a dependency that is only mentioned, and wrongs none that is used.

use crate::fault::Fault;
use crate::workspace::Workspace;

/// Tables of a manifest, and the folders whose sources may use what they name.
const TABLES: &[(&str, &[&str])] = &[
    ("dependencies", &["src"]),
    ("dev-dependencies", &["src", "tests", "benches", "examples"]),
];

pub(crate) fn faults(workspace: &Workspace) -> Result<Vec<Fault>, String> {
    let mut homes: Vec<String> = workspace.crate_folders()?;
    homes
        .iter_mut()
        .for_each(|room| *room = format!("crates/{room}"));
    homes.push("xtask".to_owned());
    let mut faults = vec![];
    for home in homes {
        let place = format!("{home}/Cargo.toml");
        let manifest: toml::Table = workspace
            .text(&place)?
            .parse()
            .map_err(|e| format!("{place}: {e}"))?;
        for (table, folders) in TABLES {
            let mut source = String::new();
            for folder in *folders {
                for file in workspace.files_under(&format!("{home}/{folder}"))? {
                    if file.ends_with(".rs") {
                        source.push_str(&workspace.text(&file)?);
                    }
                }
            }
            let named = manifest.get(*table).and_then(toml::Value::as_table);
            for name in named.into_iter().flat_map(toml::Table::keys) {
                if !is_used(name, &source) {
                    faults.push(Fault::new(
                        &place,
                        format!("[{table}] names {name}, which no source there uses"),
                    ));
                }
            }
        }
    }
    Ok(faults)
}

fn is_used(name: &str, source: &str) -> bool {
    let name = name.replace('-', "_");
    [
        format!("{name}::"),
        format!("use {name};"),
        format!("use {name} as"),
    ]
    .iter()
    .any(|way| source.contains(way))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_or_a_use_counts() {
        assert!(is_used("serde-json", "let v: serde_json::Value;"));
        assert!(is_used("app", "use app;"));
        assert!(!is_used("serde", "serde_json::json!({})"));
    }
}
