//! Outlines as they are recorded, in the words of the `negative` room.

use negative::outline::{Outline, Rectangle};

/// Turns an outline of the records into one of the negative room.
pub(crate) fn outline_of(outline: &record::Outline) -> Result<Outline, String> {
    Ok(match outline {
        record::Outline::Rectangle {
            x,
            y,
            width,
            height,
        } => Outline::Rectangle(Rectangle {
            x: f64::from(*x),
            y: f64::from(*y),
            width: f64::from(*width),
            height: f64::from(*height),
        }),
        record::Outline::Polygon(corners) => Outline::Polygon(corners.clone()),
        record::Outline::Region(label) => Outline::Region {
            label: u8::try_from(*label)
                .map_err(|_| format!("region {label} is over 255, the largest label of a map"))?,
        },
        record::Outline::CarriedFrom(frame) => {
            return Err(format!("the outline is to be carried from frame {frame}"));
        }
    })
}
