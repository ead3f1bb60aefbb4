//! Sun, sky and lamps against public libraries in Python.
//!
//! The libraries are installed into the target folder, at fixed versions. Where
//! there is no Python or no index to install from, this is skipped, loudly.

use super::{Bench, number};
use crate::command::output;
use crate::python::python;

/// The libraries; both are independent of this program.
const LIBRARIES: &[&str] = &["pvlib==0.13.0", "colour-science==0.4.6"];

/// What is run.
const SCRIPT: &str = include_str!("light.py");

pub(super) fn compare(bench: &mut Bench) -> Result<(), String> {
    let python = match python(&bench.kept.join("light-python"), LIBRARIES) {
        Ok(python) => python,
        Err(why) => {
            println!("!!! SKIPPED: light is not compared with public libraries: {why}");
            return Ok(());
        }
    };
    bench.write("light.py", SCRIPT)?;
    let program = bench.program.to_string_lossy().into_owned();
    let got = output(&python, &["light.py", &program], &bench.folder)?;
    if got.code != 0 {
        return Err(format!(
            "light.py ended with {}: {}",
            got.code,
            got.stderr.trim()
        ));
    }
    let found: serde_json::Value =
        serde_json::from_str(&got.stdout).map_err(|e| format!("light.py: {e}"))?;
    let sky = &found["sun_and_sky"];
    let conditions = number(sky, "conditions")?;
    bench.told(
        conditions >= 200.0,
        &format!("{conditions} conditions of sun and air"),
    );
    for (what, key, at_most) in [
        ("height of the sun, degrees", "elevation_deg", 0.01),
        ("azimuth of the sun, degrees", "azimuth_deg", 0.01),
        ("clear sky, 300 to 1100 nm, relative", "spectrum", 1e-6),
        // V(λ) every 5 nm here, every 1 nm there.
        ("illuminance, relative", "lux", 1e-3),
    ] {
        bench.near(what, number(sky, key)?, 0.0, at_most);
    }
    let lamps = &found["lamps"];
    for (what, key, at_most) in [
        ("CIE daylight, 4000 to 25000 K, relative", "daylight", 1e-6),
        ("CIE illuminant A, relative", "illuminant_a", 1e-6),
        ("black body of 3200 K, relative", "tungsten", 1e-6),
    ] {
        bench.near(what, number(lamps, key)?, 0.0, at_most);
    }
    Ok(())
}
