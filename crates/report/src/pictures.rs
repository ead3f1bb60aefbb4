//! The negatives side by side at one fixed density scale.

use crate::answer::verdict_word;
use crate::labels::{Edges, Letter, place_letters};
use crate::words::{filter_names, name, scan_name};
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
        p.keep {
            "Every frame is shown at one and the same density scale, never levelled frame by frame: "
            "what is darker here is denser on the film. The dashed outline is base+fog; of the tablet’s steps every fifth is numbered."
        }
        (row(input, &input.pictures, input.scale.as_ref(), letters))
        @if !input.lifted_pictures.is_empty() {
            h3 {
                "The same negatives, all lifted"
                @if let Some(scale) = &input.lifted_scale {
                    " by " (shown::stops(scale.lifted_by)) " stops"
                }
            }
            p.keep { "So that dense parts can be seen. All frames are lifted by the same amount." }
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
        @if let Some(scale) = scale { (scale_words(scale)) }
        div.light-table {
            @if let Some(scale) = scale {
                figure.scale { (PreEscaped(density_scale(scale, Colours::Page))) }
            }
            div.pictures { @for picture in pictures { (one(input, picture, scale, letters)) } }
        }
    }
}

/// Says what is white, which no reader should have to work out.
fn scale_words(scale: &DensityScale) -> Markup {
    let white = shown::density(scale.white_up_to());
    html! {
        p.about.keep {
            @if scale.lifted_by == Stops::ZERO {
                "On this scale density " (white) " is white."
            } @else {
                "On this scale every density up to " (white) " is white: "
                (shown::density(scale.white_density)) " and the lift of "
                (shown::stops(scale.lifted_by)) " stops, which is "
                (shown::density(scale.white_up_to() - scale.white_density)) " in density."
            }
            @if !scale.absolute { " The scale is relative: its zero and stretch are not known." }
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
    html! {
        figure {
            svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox=(format!("0 0 {width} {height}"))
                font-family="'Source Sans 3',sans-serif" font-weight="600" {
                title { (words) }
                image width=(width) height=(height) href=(format!("data:image/png;base64,{data}")) {}
                (outlines_over(&picture.outlines, letters, (width, height)))
            }
            figcaption {
                b { (picture.frame) }
                @if let Some(frame) = frame {
                    ", " (verdict_word(frame.verdict)) br;
                    (name(filter_names(input.test, &frame.filters))) ", " (frame.exposure)
                }
                @if scale.is_some_and(|s| s.lifted_by != Stops::ZERO) { ", lifted" }
                br; (scan_name(&picture.scan))
                @for words in &picture.carried {
                    br; "Look whether the outlines are in place: " (words) "."
                }
            }
        }
    }
}

/// What an outline looks like and what is written beside it.
struct Marked {
    points: String,
    edges: Edges,
    label: String,
    is_step: bool,
    dashed: bool,
}

impl Marked {
    fn of(outline: &PictureOutline, letters: &PatchLetters) -> Option<Self> {
        let sound = |(x, y): &(f64, f64)| x.is_finite() && y.is_finite();
        let corners: Vec<_> = outline.corners.iter().copied().filter(sound).collect();
        let role = match &outline.kind {
            OutlineKind::Patch(name) => letters.role(name).unwrap_or(PatchRole::Other),
            OutlineKind::TabletStep(step) => PatchRole::TabletStep(*step),
            OutlineKind::BasePlusFog => PatchRole::BaseFog,
        };
        let label = match (role, &outline.kind) {
            (PatchRole::BaseFog, _) => "b+f".to_owned(),
            // Every fifth number is enough to count by.
            (PatchRole::TabletStep(step), _) if step % 5 == 1 => step.to_string(),
            (PatchRole::TabletStep(_), _) => String::new(),
            (_, OutlineKind::Patch(name)) => letters.letter(name).to_owned(),
            _ => String::new(),
        };
        let points: Vec<_> = corners
            .iter()
            .map(|(x, y)| format!("{x:.1},{y:.1}"))
            .collect();
        Some(Self {
            points: points.join(" "),
            edges: Edges::around(&corners)?,
            label,
            is_step: matches!(role, PatchRole::TabletStep(_)),
            dashed: role == PatchRole::BaseFog,
        })
    }
}

fn outlines_over(
    outlines: &[PictureOutline],
    letters: &PatchLetters,
    (width, height): (f64, f64),
) -> Markup {
    let size = 0.042 * width.max(height);
    let mut marked: Vec<_> = outlines
        .iter()
        .filter_map(|o| Marked::of(o, letters))
        .collect();
    // Letters of patches choose their places before the numbers of steps.
    marked.sort_by_key(|m| m.is_step);
    let edges: Vec<_> = marked.iter().map(|m| m.edges).collect();
    let texts: Vec<_> = marked
        .iter()
        .filter(|m| !m.label.is_empty())
        .map(|m| Letter {
            text: m.label.clone(),
            size: if m.is_step { 0.75 * size } else { size },
            beside: m.edges,
            in_row: m.is_step,
        })
        .collect();
    let places = place_letters(&texts, &edges, (width, height));
    html! {
        @for m in &marked {
            polygon points=(m.points) fill="none" stroke="#000000" vector-effect="non-scaling-stroke"
                stroke-width=(if m.is_step { "2" } else { "3" }) {}
            polygon points=(m.points) fill="none" stroke="#ffffff" vector-effect="non-scaling-stroke"
                stroke-width=(if m.is_step { "0.8" } else { "1.2" })
                stroke-dasharray=[m.dashed.then_some("4 3")] {}
        }
        @for (text, place) in texts.iter().zip(places) {
            @if let Some((x, y)) = place { (text_at(x, y, text)) }
        }
    }
}

/// White letters with a black rim, so that they read on clear and on dense film.
fn text_at(x: f64, y: f64, letter: &Letter) -> Markup {
    // Figures and capitals are 0.66 em high, so their middle is 0.33 em up.
    let base = y + 0.33 * letter.size;
    html! {
        text x=(format!("{x:.1}")) y=(format!("{base:.1}")) text-anchor="middle"
            font-size=(format!("{:.1}", letter.size)) fill="#ffffff" stroke="#000000"
            stroke-width=(format!("{:.1}", letter.size * 0.2))
            stroke-linejoin="round" style="paint-order:stroke" { (letter.text) }
    }
}
