//! What is told of a camera's raw frame: its mosaic, its levels, its crop.

use negative::decode::{ChannelChoice, ScanInfo};
use serde_json::{Value, json};

/// One line on how a raw frame was taken; none for any other scan.
pub(crate) fn line(info: &ScanInfo, channel: ChannelChoice) -> Option<String> {
    let (Some(sensor), Some(black)) = (&info.sensor, info.black_of(channel)) else {
        return info.mosaic.as_ref().map(|mosaic| {
            format!(
                "camera frame: mosaic {mosaic}; the file gives no black and white level, so its tone is unknown"
            )
        });
    };
    let mosaic = info.mosaic.as_ref().map_or_else(
        || "whole pixels".to_owned(),
        |mosaic| {
            format!(
                "mosaic {mosaic}, {} from each {} × {} cell",
                what(info, channel),
                mosaic.rows(),
                mosaic.columns()
            )
        },
    );
    Some(format!(
        "camera raw: {mosaic}; black {black:.1} subtracted, white {}; picture from column {}, row {} of {} × {}; \
         not white balanced, no lens correction",
        sensor.white, sensor.origin.0, sensor.origin.1, sensor.stored.0, sensor.stored.1
    ))
}

/// Which pixels of a cell make one value.
fn what(info: &ScanInfo, channel: ChannelChoice) -> String {
    use negative::decode::MosaicColour;
    let count = |colour| info.mosaic.as_ref().map_or(0, |m| m.places(colour).len());
    let mean = |colour, word| match count(colour) {
        1 => format!("the {word} pixel"),
        n => format!("the mean of {n} {word} pixels"),
    };
    match channel {
        ChannelChoice::Red => mean(MosaicColour::Red, "red"),
        ChannelChoice::Green => mean(MosaicColour::Green, "green"),
        ChannelChoice::Blue => mean(MosaicColour::Blue, "blue"),
        ChannelChoice::Mean => "the mean of red, green and blue".to_owned(),
        other => other.to_string(),
    }
}

/// The same with stable keys; null for any other scan.
pub(crate) fn json(info: &ScanInfo, channel: ChannelChoice) -> Value {
    if info.sensor.is_none() && info.mosaic.is_none() {
        return Value::Null;
    }
    let sensor = info.sensor.as_ref();
    json!({
        "mosaic": info.mosaic.as_ref().map(ToString::to_string),
        "cell_px": info.mosaic.as_ref().map(|m| [m.columns(), m.rows()]),
        "black_level": info.black_of(channel),
        "white_level": sensor.map(|s| s.white),
        "crop_left_px": sensor.map(|s| s.origin.0),
        "crop_top_px": sensor.map(|s| s.origin.1),
        "stored_width_px": sensor.map(|s| s.stored.0),
        "stored_height_px": sensor.map(|s| s.stored.1),
        "linearized": sensor.map(|s| s.table.is_some()),
    })
}
