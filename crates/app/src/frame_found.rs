//! The frame of a scan in words and as JSON: where the picture lies, its tilt, and
//! what the rebate reads. Information alone: no density is made from it.
//!
//! The keys are described in `docs/frame-found.md`.

use negative::frame_edges::{Edge, FrameEdges, FrameNotFound, find_frame};
use negative::preview::Preview;
use serde_json::{Value, json};

/// Number of the search, raised when it answers otherwise, so that answers which were
/// kept are looked for again.
pub(crate) const FRAME_SEARCH: u32 = 1;

/// Looks for the frame; its JSON alone.
pub(crate) fn frame_json(picture: &Preview) -> Value {
    frame_said(&find_frame(picture), picture.tone_known).1
}

/// What was found of a frame: a line to show and the JSON beside it.
pub(crate) fn frame_said(
    found: &Result<FrameEdges, FrameNotFound>,
    tone_known: bool,
) -> (String, Value) {
    match found {
        Ok(frame) => (words(frame, tone_known), to_json(frame, tone_known)),
        Err(reason) => (
            format!("frame: not found: {reason}"),
            json!({ "found": false, "reason": reason.to_string() }),
        ),
    }
}

fn words(frame: &FrameEdges, tone_known: bool) -> String {
    let place = match frame.corners {
        Some(corners) => {
            let [a, b, c, d] = corners.map(|(x, y)| format!("({x:.0}, {y:.0})"));
            format!("corners {a}, {b}, {c}, {d} px")
        }
        None => {
            let seen: Vec<&str> = frame.edges.iter().map(|e| e.side.word()).collect();
            format!("seen at the {} alone", seen.join(", "))
        }
    };
    let widths: Vec<String> = frame.edges.iter().map(width_words).collect();
    let scale = if tone_known {
        "of full light"
    } else {
        "of the scale of codes"
    };
    let doubt = if frame.light_seen {
        ""
    } else {
        "; nothing in the scan is lighter, so that a gap of open light would look the same"
    };
    format!(
        "frame: {place}; tilt {:.2} ± {:.2} degrees; rebate {} px wide, reads {:.1} ± {:.1} % {scale}{doubt}; shown only, not used for base + fog",
        frame.tilt_deg,
        frame.tilt_sd_deg.max(0.01),
        widths.join(", "),
        100.0 * frame.rebate.signal,
        100.0 * frame.rebate.signal_sd,
    )
}

fn width_words(edge: &Edge) -> String {
    let least = if edge.rebate_cut { "at least " } else { "" };
    format!("{} {least}{:.0}", edge.side.word(), edge.rebate_width_px)
}

fn to_json(frame: &FrameEdges, tone_known: bool) -> Value {
    let point = |(x, y): (f64, f64)| json!([x, y]);
    json!({
        "found": true,
        "corners_px": frame.corners.map(|corners| corners.map(point)),
        "tilt_deg": frame.tilt_deg,
        "tilt_sd_deg": frame.tilt_sd_deg,
        "sides": frame.edges.iter().map(|edge| json!({
            "side": edge.side.word(),
            "ends_px": edge.ends.map(point),
            "place_sd_px": edge.place_sd_px,
            "tilt_deg": edge.tilt_deg,
            "rebate_width_px": edge.rebate_width_px,
            "rebate_cut": edge.rebate_cut,
            "rebate_band_px": edge.rebate_band().map(point),
            "seen_part": edge.seen_part,
        })).collect::<Vec<_>>(),
        "rebate": {
            "signal": frame.rebate.signal,
            "signal_sd": frame.rebate.signal_sd,
            "signal_is_light": tone_known,
            "pixels": frame.rebate.pixels,
            "lighter_seen": frame.light_seen,
            "clear_stretch_px": frame.clear_stretch.map(|corners| corners.map(point)),
        },
        "quality": frame.quality,
    })
}
