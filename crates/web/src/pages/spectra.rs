//! What a filter costs on a film in a light, worked out while a slider moves.
//!
//! The form is a plain one and works by itself; `question.js` asks for the
//! answer alone whenever a field changes.

use crate::drawing::drawing;
use crate::form::{field, fields as fields_of};
use crate::layout::{Frame, Step, page};
use crate::pages::spectra_fields::{OwnCurves, film_class_field, own_curve_fields};
use crate::refusal::{Refusal, sentence};
use crate::shared::{OpenTest, Shared, away};
use crate::spectra_question::{SpectraQuestion, request};
use app::shown::Sheet;
use app::{
    AppError, FilmChoice, FilmConvention, FilterChoice, KeepError, PredictAnswer, SpectraChoices,
    SpectralFile, spectra_choices,
};
use axum::body::Bytes;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::Value;
use std::sync::Arc;

/// The form's fields; the API's question is made from them.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct SpectraForm {
    film_class: Option<String>,
    kind: Option<String>,
    edge_nm: Option<String>,
    level: Option<String>,
    gelatin: Option<String>,
    sky: Option<String>,
    sun_deg: Option<String>,
    subject: Option<String>,
    ei: Option<String>,
    /// A film's own sensitivity, as rows of wavelength and value.
    film_curve: Option<String>,
    /// Whether its values are log10.
    film_log: Option<String>,
    /// A filter's own transmittance.
    filter_curve: Option<String>,
}

/// Most letters of a pasted curve; one value for each nanometre has a tenth of it.
const MOST_CURVE: usize = 200_000;

/// Levels at which a cut-on is quoted: the word, and words for it.
pub(crate) const LEVELS: [(&str, &str); 5] = [
    ("50%", "half of the light"),
    ("half-peak", "half of its peak"),
    ("10%", "a tenth of the light"),
    ("1%", "a hundredth of the light"),
    ("-3stops", "3 stops under its peak"),
];

impl SpectraForm {
    fn of<'a>(field: &'a Option<String>, usual: &'a str) -> &'a str {
        field.as_deref().filter(|v| !v.is_empty()).unwrap_or(usual)
    }

    fn film(&self) -> &str {
        Self::of(&self.film_class, "extended-red")
    }

    fn edge(&self) -> &str {
        Self::of(&self.edge_nm, "715")
    }

    fn level(&self) -> &str {
        Self::of(&self.level, "50%")
    }

    fn sky(&self) -> &str {
        Self::of(&self.sky, "sun")
    }

    fn sun(&self) -> &str {
        Self::of(&self.sun_deg, "35")
    }

    fn gelatin(&self) -> &str {
        Self::of(&self.gelatin, "89B")
    }

    fn subject(&self) -> &str {
        Self::of(&self.subject, "leaf")
    }

    /// Begins with the first filter and film of a test, where nothing is asked yet.
    fn beginning_with(mut self, open: &OpenTest) -> Self {
        if self.film_class.is_none()
            && let Some((nm, level)) = open.first_edge()
        {
            self.edge_nm = Some(nm);
            self.level = Some(level.to_owned());
        }
        self
    }

    fn by_table(&self) -> bool {
        self.kind.as_deref() == Some("gelatin")
    }

    fn question(&self) -> SpectraQuestion {
        let filter = if self.by_table() {
            format!("gelatin:{}", self.gelatin())
        } else {
            format!("{}:{}", self.edge(), self.level())
        };
        SpectraQuestion {
            film_class: Some(self.film().to_owned()),
            filters: Some(filter),
            light: Some(format!("{}:{}", self.sky(), self.sun())),
            subjects: Some(self.subject().to_owned()),
            ei: self.ei.as_deref().and_then(|ei| ei.trim().parse().ok()),
            sun_chart: Some(true),
        }
    }
}

/// The page without a test.
pub(crate) async fn show(
    State(shared): State<Arc<Shared>>,
    form: Result<Query<SpectraForm>, QueryRejection>,
) -> Result<Markup, Refusal> {
    let Query(form) = form?;
    let frame = Frame {
        token: shared.token(),
        modules: &["question.js"],
        ..Frame::plain("What a filter costs")
    };
    Ok(page(&frame, body(&form).await?))
}

/// The page of a test.
pub(crate) async fn show_of_test(
    State(shared): State<Arc<Shared>>,
    Path(test): Path<u32>,
    form: Result<Query<SpectraForm>, QueryRejection>,
) -> Result<Markup, Refusal> {
    let Query(form) = form?;
    let book = shared.book();
    let (open, found) =
        away(move || Ok::<_, KeepError>((book.open(test)?, book.evaluated(test)?))).await?;
    let id = test.to_string();
    let measured = found.map(|found| measured(&found.json)).unwrap_or_default();
    let frame = Frame {
        token: shared.token(),
        modules: &["question.js"],
        ..Frame::of_test(&open, &id, Step::Spectra)
    };
    let asking = body(&form.beginning_with(&open)).await?;
    Ok(page(
        &frame,
        html! {
            @if !measured.is_empty() {
                p { "Measured in this test, matched on densities: " (measured.join("; ")) "." }
            }
            (asking)
        },
    ))
}

/// The factors that a test found, in words.
fn measured(json: &Value) -> Vec<String> {
    let factors = json.get("factors").and_then(Value::as_array);
    factors
        .into_iter()
        .flatten()
        .filter_map(|factor| {
            let text = |key: &str| factor.get(key).and_then(Value::as_str);
            let stops = |key: &str| factor.get("factor_stops")?.get(key)?.as_f64();
            let shown = |v: f64| app::shown::fixed(v, 1);
            let size = match (stops("value")?, stops("low"), stops("high")) {
                (value, Some(low), Some(high)) => {
                    format!("{} stops ({} to {})", shown(value), shown(low), shown(high))
                }
                (_, Some(low), None) => format!("at least {} stops", shown(low)),
                (value, None, _) => format!("at most {} stops", shown(value)),
            };
            Some(format!(
                "{} behind {} in {}: {size}",
                text("film")?,
                text("filter")?,
                text("light")?
            ))
        })
        .collect()
}

/// The answer alone, for a page that is open already.
pub(crate) async fn answer_alone(
    form: Result<Query<SpectraForm>, QueryRejection>,
) -> Result<Markup, Refusal> {
    let Query(form) = form?;
    answer(&form).await
}

/// The same for curves that are too long for an address.
pub(crate) async fn answer_to_form(body: Bytes) -> Result<Markup, Refusal> {
    let typed = fields_of(&body);
    let of = |name: &str| Some(field(&typed, name).to_owned()).filter(|v| !v.is_empty());
    answer(&SpectraForm {
        film_class: of("film_class"),
        kind: of("kind"),
        edge_nm: of("edge_nm"),
        level: of("level"),
        gelatin: of("gelatin"),
        sky: of("sky"),
        sun_deg: of("sun_deg"),
        subject: of("subject"),
        ei: of("ei"),
        film_curve: of("film_curve"),
        film_log: of("film_log"),
        filter_curve: of("filter_curve"),
    })
    .await
}

/// Form and answer, also for the page of a test.
pub(crate) async fn body(form: &SpectraForm) -> Result<Markup, Refusal> {
    let choices = spectra_choices()?;
    let found = match answer(form).await {
        Ok(found) => found,
        Err(refusal) => told(&refusal),
    };
    Ok(html! {
        div.two {
            (fields(form, &choices))
            div #answer aria-live="polite" { (found) }
        }
    })
}

fn fields(form: &SpectraForm, choices: &SpectraChoices) -> Markup {
    let curves = OwnCurves {
        film: form.film_curve.as_deref().unwrap_or_default(),
        film_log: form.film_log.is_some(),
        filter: form.filter_curve.as_deref().unwrap_or_default(),
    };
    html! {
        form #question method="get" data-answer="/spectra/answer" {
            (film_class_field(choices, form.film()))
            fieldset.slider {
                legend { "Filter" }
                label { input type="radio" name="kind" value="edge" checked[!form.by_table()]; "Long-pass, by its cut-on" }
                label { input type="radio" name="kind" value="gelatin" checked[form.by_table()]; "Gelatin, published table" }
            }
            div data-when="kind" data-is="edge" {
                label.slider {
                    span { "Cut-on" output data-of="edge_nm" data-unit=" nm" { (form.edge()) " nm" } }
                    input type="range" name="edge_nm" min="560" max="900" step="1" value=(form.edge());
                }
                label.slider {
                    span { "where it passes" }
                    select name="level" {
                        @for (value, words) in LEVELS {
                            option value=(value) selected[value == form.level()] { (words) }
                        }
                    }
                }
            }
            div data-when="kind" data-is="gelatin" {
                label.slider {
                    span { "Number" }
                    select name="gelatin" {
                        @for number in &choices.gelatin_filters {
                            option value=(number) selected[number == form.gelatin()] { (number) }
                        }
                    }
                }
            }
            label.slider {
                span { "Light" }
                select name="sky" {
                    @for sky in &choices.skies {
                        option value=(sky) selected[*sky == form.sky()] { (sky_words(sky)) }
                    }
                }
            }
            label.slider {
                span { "Height of the sun" output data-of="sun_deg" data-unit="°" { (form.sun()) "°" } }
                input type="range" name="sun_deg" min="2" max="75" step="1" value=(form.sun());
            }
            label.slider {
                span { "Subject held against a grey card" }
                select name="subject" {
                    @for subject in &choices.subjects {
                        option value=(subject) selected[*subject == form.subject()] { (subject.replace('-', " ")) }
                    }
                }
            }
            label.slider {
                span { "EI without a filter, if known" }
                input name="ei" inputmode="decimal" value=(form.ei.as_deref().unwrap_or_default());
            }
            (own_curve_fields(curves, html! {
                p { "Pasted as two columns, or " a href="/trace" { "read off a printed plot" } "." }
            }))
            noscript { p.actions { button.main { "Work it out" } } }
        }
    }
}

fn sky_words(sky: &str) -> String {
    match sky {
        "sun" => "clear sun".to_owned(),
        other => other.replace('-', " "),
    }
}

fn told(refusal: &Refusal) -> Markup {
    html! {
        p.told { (sentence(&refusal.told.problem)) " " (sentence(&refusal.told.remedy)) }
    }
}

async fn answer(form: &SpectraForm) -> Result<Markup, Refusal> {
    let mut asked = request(&form.question(), vec![Sheet::PAGE, Sheet::PHONE])?;
    let film = pasted(form.film_curve.as_deref())?;
    let filter = pasted(form.filter_curve.as_deref())?;
    let log = form.film_log.is_some();
    let found = away(move || {
        // Pasted curves are files of a folder that goes again, under names of our own.
        let place = tempfile::tempdir().map_err(|e| {
            AppError::new(
                format!("a folder for work in between can't be used: {e}"),
                "check the free space of the disk",
            )
        })?;
        let keep = |name: &str, text: &str| -> Result<SpectralFile, AppError> {
            let path = place.path().join(name);
            app::write_file(&path, text.as_bytes())?;
            Ok(SpectralFile {
                path,
                ..SpectralFile::default()
            })
        };
        if let Some(text) = film {
            asked.film = FilmChoice::File {
                file: keep("pasted film", &text)?,
                log,
                absolute: None,
                convention: FilmConvention::EqualEnergy,
            };
        }
        if let Some(text) = filter {
            asked.filters = vec![FilterChoice::File(keep("pasted filter", &text)?)];
        }
        let hidden = format!("{}{}", place.path().display(), std::path::MAIN_SEPARATOR);
        let plain = |text: String| text.replace(&hidden, "");
        match app::predict(&asked) {
            Ok(mut found) => {
                found.lines = found.lines.into_iter().map(plain).collect();
                found.notes = found.notes.into_iter().map(plain).collect();
                Ok(found)
            }
            Err(e) => Err(AppError::new(plain(e.problem), plain(e.remedy))),
        }
    })
    .await?;
    Ok(shown(&found, form))
}

/// A pasted curve, cells parted as in a spreadsheet made commas; `None` when nothing was pasted.
pub(crate) fn pasted(text: Option<&str>) -> Result<Option<String>, Refusal> {
    let Some(text) = text.map(str::trim).filter(|t| !t.is_empty()) else {
        return Ok(None);
    };
    if text.len() > MOST_CURVE {
        return Err(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            format!("a curve of more than {MOST_CURVE} letters is not read"),
            "paste the columns of wavelength and value alone",
        ));
    }
    let mut rows = text.replace('\t', ",");
    // Columns of numbers alone get the heading that says what they are.
    if rows.starts_with(|c: char| c.is_ascii_digit()) {
        rows.insert_str(0, "wavelength_nm,value\n");
    }
    rows.push('\n');
    Ok(Some(rows))
}

fn shown(found: &PredictAnswer, form: &SpectraForm) -> Markup {
    // The first line says what was asked, a colon and a blank, then the factor.
    let first = found.lines.first().map_or("", String::as_str);
    let (asked, factor) = first.split_once(": ").unwrap_or(("", first));
    let (factor, interval) = factor.split_once(" (").unwrap_or((factor, ""));
    let rest = found
        .lines
        .iter()
        .skip(1)
        .take_while(|line| !line.is_empty());
    html! {
        div.headline {
            h2.plain { (asked.replace(" %", "\u{a0}%")) }
            p.big { (factor) " " @if let Some(interval) = interval.strip_suffix(')') { small { (interval.replace(" %", "\u{a0}%")) } } }
        }
        @for (place, svg) in found.svgs.iter().enumerate() {
            div class=(if place == 0 { "figure on-page" } else { "figure on-phone" }) { (drawing(svg)) }
        }
        div.texts { div { @for line in rest { p { (sentence(line)) } } } }
        @if let Some(rows) = found.json.get("by_sun_height").and_then(Value::as_array) {
            h2.plain { "Over the height of the sun" }
            (by_height(rows, form.sun()))
        }
        @for note in &found.notes { p.note { (sentence(note)) } }
    }
}

fn by_height(rows: &[Value], now: &str) -> Markup {
    let now: f64 = now.parse().unwrap_or(f64::NAN);
    let number = |row: &Value, key: &str| row.get(key).and_then(Value::as_f64);
    let stops =
        |value: Option<f64>| value.map_or_else(|| "–".to_owned(), |v| app::shown::fixed(v, 1));
    html! {
        div.wide tabindex="0" role="region" aria-label="Factor over the height of the sun" {
            table {
                caption { "Stops of filter factor under a clear sky." }
                thead { tr {
                    th.n scope="col" { "Sun" }
                    th.n scope="col" { "In the sun" }
                    th.n scope="col" { "Open shade" }
                } }
                tbody {
                    @for row in rows {
                        @let height = number(row, "sun_elevation_deg").unwrap_or_default();
                        tr class=[((height - now).abs() < 2.5).then_some("here")] {
                            th.n scope="row" { (app::shown::fixed(height, 0)) "°" }
                            td.n { (stops(number(row, "factor_stops"))) }
                            td.n { (stops(number(row, "open_shade_factor_stops"))) }
                        }
                    }
                }
            }
        }
    }
}
