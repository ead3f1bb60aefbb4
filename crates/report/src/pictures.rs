//! The negatives side by side at one fixed density scale.

use crate::answer::verdict_word;
use crate::words::filter_names;
use crate::{FramePicture, OutlineKind, PictureOutline, ReportInput};
use base64::Engine as _;
use figures::{Colours, DensityScale, PatchLetters, density_scale, shown};
use maud::{Markup, PreEscaped, html};
use quantity::Stops;
use record::PatchRole;

pub(crate) fn negatives(input: &ReportInput<'_>, letters: &PatchLetters) -> Markup {
    if input.pictures.is_empty() && input.lifted_pictures.is_empty() {
        return html! {
            h3 { "Negatives" }
            p { "There are no scans to show; the densities below were read otherwise." }
        };
    }
    html! {
        h3 { "Negatives, as on a light table" }
        p {
            "Every frame is shown at one and the same density scale, never levelled frame by frame: "
            "what is darker here is denser on the film. The dashed outline is base+fog; the small numbered ones are steps of the tablet."
        }
        (row(input, &input.pictures, input.scale.as_ref(), letters))
        @if !input.lifted_pictures.is_empty() {
            h3 {
                "The same negatives, all lifted"
                @if let Some(scale) = &input.lifted_scale {
                    " by " (shown::stops(scale.lifted_by)) " stops"
                }
            }
            p { "So that dense parts can be seen. All frames are lifted by the same amount; parts that turn white are thinner than this scale can show." }
            (row(input, &input.lifted_pictures, input.lifted_scale.as_ref(), letters))
        }
        (letter_list(letters))
    }
}

fn letter_list(letters: &PatchLetters) -> Markup {
    let entries: Vec<_> = letters
        .iter()
        .map(|(name, role, letter)| {
            let words = figures::role_words(role);
            if role == PatchRole::Other || words == name.as_str() {
                format!("{letter} {name}")
            } else {
                format!("{letter} {name} ({words})")
            }
        })
        .collect();
    html! {
        @if !entries.is_empty() {
            p.about { "Letters, the same in every frame, table and figure: " (entries.join(" · ")) "." }
        }
    }
}

fn row(
    input: &ReportInput<'_>,
    pictures: &[FramePicture],
    scale: Option<&DensityScale>,
    letters: &PatchLetters,
) -> Markup {
    html! {
        div.light-table {
            @if let Some(scale) = scale {
                figure.scale {
                    (PreEscaped(density_scale(scale, Colours::Page)))
                    figcaption {
                        "Density scale of these pictures; " (shown::density(scale.white_density)) " is white"
                        @if scale.lifted_by != Stops::ZERO {
                            ", lifted by " (shown::stops(scale.lifted_by)) " stops"
                        }
                        @if !scale.absolute { ". The scale is relative: its zero and stretch are not known" }
                    }
                }
            }
            div.pictures { @for picture in pictures { (one(input, picture, scale, letters)) } }
        }
    }
}

fn one(
    input: &ReportInput<'_>,
    picture: &FramePicture,
    scale: Option<&DensityScale>,
    letters: &PatchLetters,
) -> Markup {
    let frame = input
        .findings
        .frames
        .iter()
        .find(|f| f.frame == picture.frame);
    let mut words = format!("Negative of frame {}", picture.frame);
    if let Some(frame) = frame {
        words = format!(
            "{words}, verdict {}. {}",
            verdict_word(frame.verdict),
            frame.reason
        );
    }
    let data = base64::engine::general_purpose::STANDARD.encode(&picture.png);
    let (width, height) = (
        f64::from(picture.width.max(1)),
        f64::from(picture.height.max(1)),
    );
    let size = 0.05 * width.max(height);
    html! {
        figure {
            svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox=(format!("0 0 {width} {height}"))
                font-family="'Source Sans 3',sans-serif" font-weight="600" font-size=(format!("{size:.1}")) {
                title { (words) }
                image width=(width) height=(height) href=(format!("data:image/png;base64,{data}")) {}
                @for outline in &picture.outlines {
                    (outline_over(outline, letters, width, size))
                }
            }
            figcaption {
                b { (picture.frame) }
                @if let Some(frame) = frame {
                    ", " (verdict_word(frame.verdict)) br;
                    (filter_names(input.test, &frame.filters)) ", " (frame.exposure)
                }
                @if scale.is_some_and(|s| s.lifted_by != Stops::ZERO) { ", lifted" }
                br; "scan " (picture.scan)
            }
        }
    }
}

fn outline_over(outline: &PictureOutline, letters: &PatchLetters, width: f64, size: f64) -> Markup {
    let sound = |(x, y): &&(f64, f64)| x.is_finite() && y.is_finite();
    let corners: Vec<_> = outline.corners.iter().filter(sound).collect();
    if corners.is_empty() {
        return html! {};
    }
    let points: Vec<_> = corners
        .iter()
        .map(|(x, y)| format!("{x:.1},{y:.1}"))
        .collect();
    let points = points.join(" ");
    let (mut label, mut dashed) = match &outline.kind {
        OutlineKind::Patch(name) => (letters.letter(name).to_owned(), false),
        OutlineKind::TabletStep(step) if step % 10 == 1 => (step.to_string(), true),
        OutlineKind::TabletStep(_) => (String::new(), true),
        OutlineKind::BasePlusFog => ("b+f".to_owned(), true),
    };
    if let OutlineKind::Patch(name) = &outline.kind
        && letters
            .iter()
            .any(|(n, role, _)| n == name && role == PatchRole::BaseFog)
    {
        dashed = true;
        label = "b+f".to_owned();
    }
    let left = corners.iter().map(|c| c.0).fold(f64::INFINITY, f64::min);
    let right = corners
        .iter()
        .map(|c| c.0)
        .fold(f64::NEG_INFINITY, f64::max);
    let top = corners.iter().map(|c| c.1).fold(f64::INFINITY, f64::min);
    // Inward: beside the outline, on the side that has room; below the top edge.
    let wide = size * 0.65 * label.chars().count() as f64;
    let (x, anchor) = if right + wide + size * 0.3 < width {
        (right + size * 0.2, "start")
    } else {
        (left - size * 0.2, "end")
    };
    let y = (top + size * 0.75).max(size * 0.8);
    if let OutlineKind::TabletStep(_) = outline.kind {
        let bottom = corners
            .iter()
            .map(|c| c.1)
            .fold(f64::NEG_INFINITY, f64::max);
        let small = size * 0.7;
        return html! {
            polygon points=(points) fill="none" stroke="#000000" stroke-width="2" vector-effect="non-scaling-stroke" {}
            polygon points=(points) fill="none" stroke="#ffffff" stroke-width="0.8" vector-effect="non-scaling-stroke" {}
            @if !label.is_empty() {
                (label_at((left + right) / 2.0, bottom + small * 1.1, "middle", small, &label))
            }
        };
    }
    html! {
        polygon points=(points) fill="none" stroke="#000000" stroke-width="3" vector-effect="non-scaling-stroke" {}
        polygon points=(points) fill="none" stroke="#ffffff" stroke-width="1.2" vector-effect="non-scaling-stroke"
            stroke-dasharray=[dashed.then_some("4 3")] {}
        @if !label.is_empty() { (label_at(x, y, anchor, size, &label)) }
    }
}

/// White letters with a black rim, so that they read on clear and on dense film.
fn label_at(x: f64, y: f64, anchor: &str, size: f64, label: &str) -> Markup {
    html! {
        text x=(format!("{x:.1}")) y=(format!("{y:.1}")) text-anchor=(anchor) font-size=(format!("{size:.1}"))
            fill="#ffffff" stroke="#000000" stroke-width=(format!("{:.1}", size * 0.2))
            stroke-linejoin="round" style="paint-order:stroke" { (label) }
    }
}
