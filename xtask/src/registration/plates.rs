//! Glass plates with three frames of one subject, taken through a blue, a green
//! and a red filter.

use negative::registration::{GreyPicture, Motion, register};
use std::path::Path;

/// Plates and where their green and red frames lie: (rows, columns) that move a
/// frame onto the blue one.
///
/// Source: brute-force correlation of gradients, to a pixel, told with the
/// samples (Prokudin-Gorskii collection, Library of Congress).
const PLATES: [(&str, Moved, Moved); 5] = [
    ("00106v", (4, 1), (9, -1)),
    ("00963v", (2, 2), (9, 3)),
    ("01043v", (-2, 1), (1, 2)),
    ("01443v", (3, 2), (8, 5)),
    ("01788v", (6, 1), (12, 1)),
];
/// Rows and columns. \[pixels\]
type Moved = (i32, i32);
/// Ragged edges of the emulsion, left out. \[pixels\]
const BORDER: usize = 20;
/// The table is to a pixel.
const ALLOWED_PX: f64 = 1.0;

/// Lays the frames of every plate and gives what is wrong.
pub(crate) fn run(folder: &Path) -> Result<Vec<String>, String> {
    println!();
    println!("plate   frame  rows   table  columns  table  known to px  agreement");
    let mut failed = vec![];
    for (name, green, red) in PLATES {
        let path = folder.join(format!("{name}.jpg"));
        let plate = image::open(&path)
            .map_err(|e| format!("{}: {e}", path.display()))?
            .to_luma8();
        let (width, third) = (plate.width() as usize, plate.height() as usize / 3);
        let frame = |number: usize| {
            let values = (0..third * width).map(|i| {
                let (x, y) = (i % width, i / width);
                let inside =
                    (BORDER..width - BORDER).contains(&x) && (BORDER..third - BORDER).contains(&y);
                let code = plate.get_pixel(x as u32, (number * third + y) as u32).0[0];
                if inside {
                    f32::from(code) / 255.0
                } else {
                    f32::NAN
                }
            });
            GreyPicture::new(width, third, values.collect()).map_err(|e| format!("{name}: {e}"))
        };
        let blue = frame(0)?;
        for (number, colour, (rows, columns)) in [(1, "green", green), (2, "red", red)] {
            let found = match register(&blue, &frame(number)?, Motion::Flat) {
                Ok(found) => found,
                Err(error) => {
                    println!("{name}  {colour:<5}  {error}");
                    failed.push(format!("{name}, {colour}: {error}"));
                    continue;
                }
            };
            let middle = (width as f64 / 2.0, third as f64 / 2.0);
            let to = found.placement().carry(middle);
            let moved = (middle.1 - to.1, middle.0 - to.0);
            println!(
                "{name}  {colour:<5} {:>6.2} {rows:>6} {:>8.2} {columns:>6} {:>12.2} {:>10.2}",
                moved.0,
                moved.1,
                found.uncertainty_px(middle),
                found.agreement
            );
            let off = (moved.0 - f64::from(rows))
                .abs()
                .max((moved.1 - f64::from(columns)).abs());
            if off > ALLOWED_PX {
                failed.push(format!("{name}, {colour}: {off:.2} px from the table"));
            }
        }
    }
    Ok(failed)
}
