//! Every package we build on may be used as we use it, and comes from crates.io.
//!
//! The allowed licences stand in `deny.toml`, so that this check and
//! `cargo deny` say the same; this one needs nothing but cargo. Expressions
//! are SPDX, with the older `A/B` for `A OR B`.

use crate::command::output;
use crate::fault::Fault;
use crate::workspace::Workspace;
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;

const REGISTRY: &str = "registry+https://github.com/rust-lang/crates.io-index";

pub(crate) fn faults(workspace: &Workspace) -> Result<Vec<Fault>, String> {
    let allowed = allowed(&workspace.text("deny.toml")?)?;
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let arguments = ["metadata", "--format-version", "1", "--locked"];
    let told = output(Path::new(&cargo), &arguments, workspace.root())?;
    if told.code != 0 {
        return Err(format!("cargo metadata: {}", told.stderr.trim()));
    }
    let metadata: Value = serde_json::from_str(&told.stdout).map_err(|e| e.to_string())?;
    let packages = metadata["packages"]
        .as_array()
        .ok_or("cargo metadata gave no packages")?;
    Ok(packages.iter().filter_map(|p| fault(p, &allowed)).collect())
}

fn allowed(deny: &str) -> Result<BTreeSet<String>, String> {
    let deny: toml::Table = deny.parse().map_err(|e| format!("deny.toml: {e}"))?;
    let list = deny
        .get("licenses")
        .and_then(|l| l.get("allow"))
        .and_then(toml::Value::as_array)
        .ok_or("deny.toml has no licenses.allow")?;
    Ok(list
        .iter()
        .filter_map(toml::Value::as_str)
        .map(str::to_owned)
        .collect())
}

fn fault(package: &Value, allowed: &BTreeSet<String>) -> Option<Fault> {
    let place = format!(
        "{} {}",
        package["name"].as_str().unwrap_or("?"),
        package["version"].as_str().unwrap_or("?")
    );
    let source = package["source"].as_str();
    if source.is_some_and(|s| s != REGISTRY) {
        return Some(Fault::new(
            place,
            format!("comes from {}", source.unwrap_or_default()),
        ));
    }
    let Some(licence) = package["license"].as_str() else {
        return Some(Fault::new(place, "states no licence"));
    };
    match satisfied(licence, allowed) {
        Ok(true) => None,
        Ok(false) => Some(Fault::new(
            place,
            format!("{licence:?} can't be met from the allowed licences"),
        )),
        Err(why) => Some(Fault::new(place, format!("{licence:?} {why}"))),
    }
}

/// Tells whether an SPDX expression can be met from the allowed licences.
fn satisfied(expression: &str, allowed: &BTreeSet<String>) -> Result<bool, &'static str> {
    let spaced = expression
        .replace('(', " ( ")
        .replace(')', " ) ")
        .replace('/', " OR ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut place = 0;
    let met = any_of(&words, &mut place, allowed)?;
    if place == words.len() {
        Ok(met)
    } else {
        Err("is no licence expression")
    }
}

fn any_of(
    words: &[&str],
    place: &mut usize,
    allowed: &BTreeSet<String>,
) -> Result<bool, &'static str> {
    let mut met = all_of(words, place, allowed)?;
    while words.get(*place) == Some(&"OR") {
        *place += 1;
        met |= all_of(words, place, allowed)?;
    }
    Ok(met)
}

fn all_of(
    words: &[&str],
    place: &mut usize,
    allowed: &BTreeSet<String>,
) -> Result<bool, &'static str> {
    let mut met = one(words, place, allowed)?;
    while words.get(*place) == Some(&"AND") {
        *place += 1;
        met &= one(words, place, allowed)?;
    }
    Ok(met)
}

fn one(
    words: &[&str],
    place: &mut usize,
    allowed: &BTreeSet<String>,
) -> Result<bool, &'static str> {
    let word = *words.get(*place).ok_or("ends too early")?;
    *place += 1;
    if word == "(" {
        let met = any_of(words, place, allowed)?;
        if words.get(*place) != Some(&")") {
            return Err("has a bracket that is not closed");
        }
        *place += 1;
        return Ok(met);
    }
    if matches!(word, ")" | "OR" | "AND" | "WITH") {
        return Err("is no licence expression");
    }
    // A licence with an exception is a licence of its own.
    if words.get(*place) == Some(&"WITH") {
        let exception = words.get(*place + 1).ok_or("ends too early")?;
        *place += 2;
        return Ok(allowed.contains(&format!("{word} WITH {exception}")));
    }
    Ok(allowed.contains(word))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn met(expression: &str) -> Result<bool, &'static str> {
        let allowed = ["MIT", "Unicode-3.0"].map(str::to_owned).into();
        satisfied(expression, &allowed)
    }

    #[test]
    fn expressions_are_met_as_spdx_says() {
        // Source: SPDX specification, annex on licence expressions: AND binds tighter than OR.
        assert_eq!(met("MIT OR GPL-3.0"), Ok(true));
        assert_eq!(met("GPL-3.0/MIT"), Ok(true));
        assert_eq!(met("MIT AND GPL-3.0"), Ok(false));
        assert_eq!(met("GPL-3.0 AND MIT OR MIT"), Ok(true));
        assert_eq!(met("(MIT OR Apache-2.0) AND Unicode-3.0"), Ok(true));
        assert_eq!(met("MIT WITH Some-exception"), Ok(false));
    }

    #[test]
    fn what_is_no_expression_is_told() {
        assert!(met("MIT OR").is_err());
        assert!(met("(MIT").is_err());
        assert!(met("MIT MIT").is_err());
    }
}
