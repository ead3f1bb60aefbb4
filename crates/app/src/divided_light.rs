//! Opens the pictures of the bare light table and of the dark, and divides
//! them out of a scan.

use crate::AppError;
use crate::error::with_causes;
use crate::measuring::recorded_tone;
use crate::scan_reader::{remedy_of, scan_file, scan_reader};
use negative::decode::{ChannelChoice, ScanInfo, ScanReader};
use negative::flat_field::{FlatField, FlatFieldError, LightField, light_field};
use negative::honesty::{CodeHistogram, HistogramPass};
use negative::outline::Outline;
use negative::patch::PatchStatistics;
use negative::tone::Tone;
use notebook::TestFolder;
use record::Scan;
use serde_json::{Value, json};
use std::io::{Read, Seek};
use std::path::Path;

/// The picture of the bare light table and, where there is one, the dark frame.
#[derive(Clone, Copy)]
pub(crate) struct LightPictures<'a> {
    pub(crate) flat_field: &'a Path,
    pub(crate) dark_frame: Option<&'a Path>,
}

/// A scan whose light was divided out: what it was before, and by what.
pub(crate) struct Divided {
    field: FlatField,
    files: (String, Option<String>),
    /// The first digits of the pictures' checksums.
    key: String,
    /// The scan as stored: what the checks of levels must look at.
    pub(crate) info: ScanInfo,
    pub(crate) tone: Tone,
    pub(crate) histogram: CodeHistogram,
}

/// Divides the light of the bare table out of a scan from now on, and gives the
/// tone of its codes.
///
/// `recorded` is the tone as recorded for the scan; it holds for the pictures too.
pub(crate) fn divide<R: Read + Seek>(
    reader: &mut ScanReader<R>,
    channel: ChannelChoice,
    tone: &Tone,
    recorded: record::Tone,
    pictures: LightPictures<'_>,
) -> Result<(Tone, Divided), AppError> {
    let shown = |path: &Path| path.display().to_string();
    let flat_name = shown(pictures.flat_field);
    let table = field_of(
        pictures.flat_field,
        "the light table's picture",
        channel,
        recorded,
    )?;
    let dark = match pictures.dark_frame {
        Some(path) => Some(field_of(path, "the dark frame", channel, recorded)?),
        None => None,
    };
    let fail =
        |e: &FlatFieldError| AppError::new(format!("{flat_name}: {}", with_causes(e)), remedy(e));
    let mut key = " flat".to_owned();
    for path in core::iter::once(pictures.flat_field).chain(pictures.dark_frame) {
        key += &format!("-{:.16}", notebook::hash_file(path)?);
    }
    let field = FlatField::new(table, dark).map_err(|e| fail(&e))?;
    let info = reader.info().clone();
    // A look at the stored codes: after dividing, no comb or gap would be left.
    let mut pass = HistogramPass::new(&info, None)
        .map_err(|e| AppError::new(e.to_string(), "use a scan that has pixels"))?;
    reader
        .for_each_row(channel, |row| pass.take(&row))
        .map_err(|e| AppError::new(with_causes(&e), remedy_of(&e)))?;
    let divided = reader
        .divide_by(field.clone(), channel, tone)
        .map_err(|e| fail(&e))?;
    Ok((
        divided,
        Divided {
            field,
            files: (flat_name, pictures.dark_frame.map(shown)),
            key,
            info,
            tone: tone.clone(),
            histogram: pass.finish(),
        },
    ))
}

/// Divides the light that a scan's record names out of it; gives the tone of
/// its codes from then on.
pub(crate) fn divide_recorded(
    folder: &TestFolder,
    scan: &Scan,
    reader: &mut ScanReader<impl Read + Seek>,
    channel: ChannelChoice,
    tone: Tone,
) -> Result<(Tone, Option<Divided>), AppError> {
    let Some(flat_field) = &scan.flat_field else {
        return Ok((tone, None));
    };
    let flat_field = folder.scan_path(flat_field)?;
    let dark_frame = match &scan.dark_frame {
        Some(path) => Some(folder.scan_path(path)?),
        None => None,
    };
    let pictures = LightPictures {
        flat_field: &flat_field,
        dark_frame: dark_frame.as_deref(),
    };
    let (tone, divided) =
        divide(reader, channel, &tone, scan.tone, pictures).map_err(|mut e| {
            e.problem = format!("scan {} ({}): {}", scan.id, scan.file, e.problem);
            e
        })?;
    Ok((tone, Some(divided)))
}

fn field_of(
    path: &Path,
    what: &'static str,
    channel: ChannelChoice,
    recorded: record::Tone,
) -> Result<LightField, AppError> {
    let fail = |told: String, remedy: &str| {
        AppError::new(format!("{what} {}: {told}", path.display()), remedy)
    };
    let file = scan_file(path)?;
    let mut reader = scan_reader(file, 0).map_err(|e| fail(with_causes(&e), remedy_of(&e)))?;
    let tone = recorded_tone(recorded, reader.info(), channel)
        .map_err(|e| fail(e, "give a gamma between 0.1 and 10"))?;
    light_field(&mut reader, channel, &tone, what).map_err(|e| fail(with_causes(&e), remedy(&e)))
}

/// What to do about pictures that can't be divided by.
fn remedy(error: &FlatFieldError) -> &'static str {
    match error {
        FlatFieldError::Decode(_) | FlatFieldError::OtherChannel { .. } => {
            "take flat field and dark frame with the camera and settings of the scan, and save them the same way"
        }
        FlatFieldError::UnknownTone { .. } => {
            "use the camera's raw file as DNG, or say the tone: --tone linear, or tone = \"linear\" in test.toml"
        }
        FlatFieldError::TooSmall { .. } => "give the whole picture, not a reduced one",
        FlatFieldError::OtherSize { .. } => {
            "give pictures of one size: uncropped, from the same camera, saved the same way"
        }
        FlatFieldError::Clipped { .. } => {
            "take the light table again with less exposure, so that no pixel is full"
        }
        FlatFieldError::Dark { .. }
        | FlatFieldError::NotBare { .. }
        | FlatFieldError::Textured { .. } => {
            "take the bare light table: no film, no holder, no mask, out of focus"
        }
    }
}

impl Divided {
    /// Divides the same light out of the scan, opened anew.
    pub(crate) fn divide_again<R: Read + Seek>(
        &self,
        reader: &mut ScanReader<R>,
        channel: ChannelChoice,
    ) -> Result<Tone, AppError> {
        reader
            .divide_by(self.field.clone(), channel, &self.tone)
            .map_err(|e| AppError::new(with_causes(&e), remedy(&e)))
    }

    /// Names the pictures that were divided by, by what they hold.
    pub(crate) fn key(&self) -> &str {
        &self.key
    }

    /// Makes patches as uncertain as the two pictures make them.
    pub(crate) fn add_uncertainty(&self, patches: &mut [PatchStatistics], outlines: &[Outline]) {
        for (patch, outline) in patches.iter_mut().zip(outlines) {
            self.field.add_uncertainty(patch, outline);
        }
    }

    /// One line on what was divided out.
    pub(crate) fn line(&self) -> String {
        let u = self.field.unevenness();
        let [a, b, c, d] = u.corner_stops;
        format!(
            "light divided out by {}{}: {:.1} % between brightest and darkest; corners {a:+.2}, {b:+.2}, {c:+.2}, \
             {d:+.2} stops against the middle, of which {:+.2} follows the distance from it (lens, and a table \
             brighter in its middle); left to right {:+.1} %, top to bottom {:+.1} %, rest {:.2} %; dust on {:.1} % \
             of the area; uncertainty {:.2} %{}",
            self.files.0,
            match &self.files.1 {
                Some(dark) => format!(" less {dark}"),
                None => String::new(),
            },
            u.range_percent,
            u.radial_stops,
            u.across_percent,
            u.down_percent,
            u.rest_percent,
            u.dust_percent,
            u.noise_percent,
            match self.field.dark_light() {
                Some(dark) => format!("; dark frame {:.3} % of full scale", dark * 100.0),
                None => String::new(),
            },
        )
    }

    /// The same with stable keys.
    pub(crate) fn json(&self) -> Value {
        let u = self.field.unevenness();
        json!({
            "file": self.files.0,
            "dark_file": self.files.1,
            "range_percent": u.range_percent,
            "corner_to_centre_stops": u.mean_corner_stops(),
            "corners_stops": u.corner_stops,
            "radial_stops": u.radial_stops,
            "across_percent": u.across_percent,
            "down_percent": u.down_percent,
            "rest_percent": u.rest_percent,
            "dust_percent": u.dust_percent,
            "noise_percent": u.noise_percent,
            "dark_percent": self.field.dark_light().map(|d| d * 100.0),
        })
    }
}
