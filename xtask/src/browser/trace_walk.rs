//! A curve read off a picture of a plot, by pointing at it as a person would.
//!
//! The pictures are drawn here from formulas; what the page reads is held against the
//! formula. Where to point is looked up in the picture's pixels, never worked out from it.

use crate::browser::axe::Axe;
use crate::browser::screens::READY;
use crate::browser::walks::{choose_files, fill_in, mouse, press};
use crate::devtools::Page;
use image::{GrayImage, Luma};
use std::path::Path;

/// Width and height of a picture. \[px\]
const SIZE: (u32, u32) = (1000, 620);
/// The frame of the plot: left, right, top, bottom. \[px\]
const FRAME: (f64, f64, f64, f64) = (100.0, 940.0, 40.0, 540.0);
const PAPER: u8 = 255;
const CURVE: u8 = 0;
const AXIS: u8 = 150;

/// How an axis is divided.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Division {
    Even,
    PowersOfTen,
}

/// An axis from its value at one end of the frame to that at the other.
#[derive(Clone, Copy, Debug)]
struct Ruled {
    from: f64,
    to: f64,
    division: Division,
}

impl Ruled {
    /// The share of the axis at which a value lies.
    fn share(self, value: f64) -> f64 {
        match self.division {
            Division::Even => (value - self.from) / (self.to - self.from),
            Division::PowersOfTen => (value / self.from).ln() / (self.to / self.from).ln(),
        }
    }

    fn value(self, share: f64) -> f64 {
        match self.division {
            Division::Even => self.from + share * (self.to - self.from),
            Division::PowersOfTen => self.from * (self.to / self.from).powf(share),
        }
    }
}

/// A plot of a formula.
struct Plot {
    name: &'static str,
    formula: fn(f64) -> f64,
    x: Ruled,
    y: Ruled,
    /// Wavelengths near which the curve is pointed at. \[nm\]
    points_nm: [f64; 9],
}

/// A long-pass filter, and a sensitivity over four powers of ten; both invented.
const PLOTS: [Plot; 2] = [
    Plot {
        name: "even",
        formula: |nm| 0.92 / (1.0 + ((620.0 - nm) / 15.0).exp()),
        x: Ruled {
            from: 400.0,
            to: 800.0,
            division: Division::Even,
        },
        y: Ruled {
            from: 0.0,
            to: 1.0,
            division: Division::Even,
        },
        points_nm: [
            410.0, 550.0, 590.0, 605.0, 620.0, 635.0, 650.0, 700.0, 790.0,
        ],
    },
    Plot {
        name: "powers",
        formula: |nm| 10_f64.powf(-((nm - 520.0) / 150.0).powi(2)),
        x: Ruled {
            from: 250.0,
            to: 1000.0,
            division: Division::PowersOfTen,
        },
        y: Ruled {
            from: 0.001,
            to: 10.0,
            division: Division::PowersOfTen,
        },
        points_nm: [
            300.0, 350.0, 400.0, 450.0, 520.0, 600.0, 650.0, 700.0, 760.0,
        ],
    },
];

/// Traces both plots and takes the second over as a filter's curve.
pub(crate) fn walk(page: &mut Page, address: &str, folder: &Path, axe: &Axe) -> Result<(), String> {
    for plot in &PLOTS {
        let picture = drawn(plot);
        let file = folder.join(format!("plot-{}.png", plot.name));
        picture
            .save(&file)
            .map_err(|e| format!("{}: {e}", file.display()))?;
        page.open(&format!("{address}/trace"), READY)?;
        choose_files(page, "#marks input[type=file]", &[file])?;
        page.wait_for(&format!(
            "document.getElementById('plot').width === {}",
            SIZE.0
        ))?;
        traced(page, plot, &picture)?;
        axe.look(page, "a traced plot")?;
    }
    press(page, "[data-use=filter_curve]")?;
    page.wait_for(&format!(
        "location.pathname === '/spectra' && {READY} && \
         document.querySelector('[name=filter_curve]').value.trim().split('\\n').length === {}",
        PLOTS[1].points_nm.len()
    ))
}

/// Marks axes and curve of a plot and holds what is read against its formula.
fn traced(page: &mut Page, plot: &Plot, picture: &GrayImage) -> Result<(), String> {
    let (left, right, top, bottom) = FRAME;
    for (field, value) in [
        ("x1", plot.x.from),
        ("x2", plot.x.to),
        ("y1", plot.y.from),
        ("y2", plot.y.to),
    ] {
        fill_in(page, &format!("#marks [name={field}]"), &value.to_string())?;
    }
    for (field, of) in [("x_log", plot.x), ("y_log", plot.y)] {
        if of.division == Division::PowersOfTen {
            press(page, &format!("#marks [name={field}]"))?;
        }
    }
    for place in [(left, bottom), (right, bottom), (left, bottom), (left, top)] {
        point(page, place)?;
    }
    for nm in plot.points_nm {
        let column = (left + plot.x.share(nm) * (right - left)).round();
        let row = curve_at(picture, column as u32)
            .ok_or_else(|| format!("the curve is not in column {column}"))?;
        point(page, (column, row))?;
    }
    let count = plot.points_nm.len();
    page.wait_for(&format!(
        "document.getElementById('csv').value.split('\\n').filter(r => /^\\d/.test(r)).length === {count}"
    ))?;
    let csv = page.ask("document.getElementById('csv').value")?;
    let rows: Vec<(f64, f64)> = csv
        .as_str()
        .unwrap_or_default()
        .lines()
        .filter_map(|line| {
            let mut cells = line.split(',').map(str::parse::<f64>);
            Some((cells.next()?.ok()?, cells.next()?.ok()?))
        })
        .collect();
    let mut worst = 0.0_f64;
    for ((nm, value), near) in rows.iter().zip(plot.points_nm) {
        // Where it was pointed at, to a pixel of the picture across.
        let asked = (plot.x.share(*nm) - plot.x.share(near)) * (right - left);
        // The formula within a pixel to either side, and the read value, as heights in pixels.
        let height = |value: f64| plot.y.share(value) * (bottom - top);
        let at = |shift: f64| {
            let nm = plot.x.value(plot.x.share(*nm) + shift / (right - left));
            height((plot.formula)(nm))
        };
        let (low, high) = (at(-1.0).min(at(1.0)), at(-1.0).max(at(1.0)));
        let read = height(*value);
        let off = (low - read).max(read - high).max(0.0);
        worst = worst.max(off);
        // A line of three pixels is pointed at to one, and a place is told to the pixel.
        if asked.abs() > 1.5 || off > 1.5 {
            return Err(format!(
                "plot {}: near {near} nm was read {value} at {nm} nm, and the formula gives {}",
                plot.name,
                (plot.formula)(*nm)
            ));
        }
    }
    if rows.len() != count {
        return Err(format!("plot {}: {} rows were read", plot.name, rows.len()));
    }
    println!(
        "   plot {}: {count} points, at most {worst:.2} px beside the formula",
        plot.name
    );
    Ok(())
}

/// Draws a plot: its frame in grey, the curve in black and three pixels thick.
fn drawn(plot: &Plot) -> GrayImage {
    let (left, right, top, bottom) = FRAME;
    let mut picture = GrayImage::from_pixel(SIZE.0, SIZE.1, Luma([PAPER]));
    for x in left as u32..=right as u32 {
        picture.put_pixel(x, bottom as u32, Luma([AXIS]));
    }
    for y in top as u32..=bottom as u32 {
        picture.put_pixel(left as u32, y, Luma([AXIS]));
    }
    // Eight steps to a pixel leave no gap where the curve is steepest.
    for step in 0..=8 * (right - left) as u32 {
        let x = left + f64::from(step) / 8.0;
        let value = (plot.formula)(plot.x.value((x - left) / (right - left)));
        let y = bottom - plot.y.share(value) * (bottom - top);
        for thick in [-1.0, 0.0, 1.0] {
            let row = (y + thick).round();
            if (top..=bottom).contains(&row) {
                picture.put_pixel(x.round() as u32, row as u32, Luma([CURVE]));
            }
        }
    }
    picture
}

/// The middle of the curve in a column of the picture. \[px\]
fn curve_at(picture: &GrayImage, column: u32) -> Option<f64> {
    let rows: Vec<u32> = (0..picture.height())
        .filter(|row| picture.get_pixel(column, *row).0[0] == CURVE)
        .collect();
    let (first, last) = (rows.first()?, rows.last()?);
    Some(0.5 * f64::from(first + last))
}

/// Points at a place of the picture with the mouse.
fn point(page: &mut Page, (x, y): (f64, f64)) -> Result<(), String> {
    let (width, height) = SIZE;
    let place = page.ask(&format!(
        "(() => {{ const plot = document.getElementById('plot'); plot.scrollIntoView({{ block: 'center' }}); \
         const box = plot.getBoundingClientRect(); \
         return [box.left + {x} / {width} * box.width, box.top + {y} / {height} * box.height]; }})()"
    ))?;
    let (Some(x), Some(y)) = (place[0].as_f64(), place[1].as_f64()) else {
        return Err(format!("the plot is not on the page: {place}"));
    };
    for kind in ["mouseMoved", "mousePressed", "mouseReleased"] {
        mouse(page, kind, (x, y))?;
    }
    Ok(())
}
