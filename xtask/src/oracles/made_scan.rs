//! `measure` against a scan whose densities are known, written here byte by byte.
//!
//! A linear scanner with flare: v = (T + f)/(1 + f), f = 0.15 %. A tablet of
//! 21 steps of 0.15 lies in the scan and tells how codes follow density.

use super::Bench;

const FLARE: f64 = 0.0015;
const CELL_PX: u32 = 40;
const STEPS: u32 = 21;
const PATCHES: [f64; 4] = [0.42, 0.83, 1.62, 2.40];

fn code(density: f64) -> u16 {
    let light = (10_f64.powf(-density) + FLARE) / (1.0 + FLARE);
    // In range by construction: light lies between 0 and 1.
    (light * 60_000.0).round() as u16
}

/// The tablet's steps in a first row of cells, the patches in a second.
fn scan() -> Vec<u8> {
    let (width, height) = (STEPS * CELL_PX, 2 * CELL_PX);
    let mut codes = vec![];
    for y in 0..height {
        for x in 0..width {
            let cell = x / CELL_PX;
            let density = if y < CELL_PX {
                0.05 + 0.15 * f64::from(cell)
            } else {
                PATCHES[cell as usize % PATCHES.len()]
            };
            codes.push(code(density));
        }
    }
    tiff(width, height, &codes)
}

/// A baseline TIFF: one strip of stored 16-bit grey, black is zero.
/// Source: TIFF revision 6.0, sections 2 to 4.
fn tiff(width: u32, height: u32, codes: &[u16]) -> Vec<u8> {
    const SHORT: u16 = 3;
    const LONG: u16 = 4;
    let bytes = 2 * width * height;
    let entries: [(u16, u16, u32); 9] = [
        (256, LONG, width),
        (257, LONG, height),
        (258, SHORT, 16),
        (259, SHORT, 1),
        (262, SHORT, 1),
        (273, LONG, 8),
        (277, SHORT, 1),
        (278, LONG, height),
        (279, LONG, bytes),
    ];
    let mut file = b"II*\0".to_vec();
    file.extend((8 + bytes).to_le_bytes());
    file.extend(codes.iter().flat_map(|c| c.to_le_bytes()));
    file.extend(9_u16.to_le_bytes());
    for (tag, kind, value) in entries {
        file.extend(tag.to_le_bytes());
        file.extend(kind.to_le_bytes());
        file.extend(1_u32.to_le_bytes());
        file.extend(value.to_le_bytes());
    }
    file.extend(0_u32.to_le_bytes());
    file
}

pub(super) fn compare(bench: &mut Bench) -> Result<(), String> {
    let mut tablet = String::from("step,density,density_sd\n");
    let mut outlines = String::from("name,x_px,y_px,width_px,height_px,role\n");
    // A margin of 5 px keeps outlines off the edges of their cells.
    let inner = CELL_PX - 10;
    for step in 0..STEPS {
        tablet.push_str(&format!(
            "{},{:.2},0.01\n",
            step + 1,
            0.05 + 0.15 * f64::from(step)
        ));
        let x = step * CELL_PX + 5;
        outlines.push_str(&format!(
            "step-{0},{x},5,{inner},{inner},tablet_step:{0}\n",
            step + 1
        ));
    }
    for place in 0..PATCHES.len() {
        let x = place as u32 * CELL_PX + 5;
        let y = CELL_PX + 5;
        outlines.push_str(&format!("patch-{place},{x},{y},{inner},{inner},other\n"));
    }
    bench.write("scan.tif", scan())?;
    bench.write("tablet.csv", tablet)?;
    bench.write("patches.csv", outlines)?;
    let asked = [
        "measure",
        "scan.tif",
        "--tablet",
        "tablet.csv",
        "--patches",
        "patches.csv",
        "--tone",
        "linear",
        "--json",
    ];
    let told = bench.json(&asked)?;
    let patches = told["patches"].as_array().ok_or("no patches")?;
    for (place, expected) in PATCHES.iter().enumerate() {
        let name = format!("patch-{place}");
        let density = patches
            .iter()
            .find(|p| p["name"] == name.as_str())
            .and_then(|p| {
                p["density"]
                    .as_f64()
                    .or_else(|| p["density"]["value"].as_f64())
            })
            .ok_or_else(|| format!("no density for {name}"))?;
        // 0.005: without calibration flare alone makes 0.026 at 1.62 and 0.138
        // at 2.40; interpolating between steps 0.15 apart leaves under 0.002,
        // and a code is worth 0.002 at 2.40.
        bench.near(&format!("density {expected}"), density, *expected, 0.005);
    }
    Ok(())
}
