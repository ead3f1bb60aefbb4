//! Options that name the film and say how well its red end is known; `predict` and `plan`
//! have them alike.

use app::{AbsoluteSensitivity, AppError, FilmChoice, FilmConvention, SpectralFile, StatedSpread};
use clap::{Args, ValueHint};

#[derive(Debug, Args)]
pub(crate) struct FilmOptions {
    /// Spectral sensitivity of the film: wavelength_nm and a value, linear and relative.
    ///
    /// Of a file with several columns name one after the file: FILE.csv#COLUMN. What a file
    /// doesn't say is said there too: FILE.txt#unit=angstrom,scale=linear,column=NAME,part=1.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath, required_unless_present = "film_class")]
    film: Option<String>,
    /// The film's values are log10 of sensitivity.
    #[arg(long, requires = "film")]
    film_log: bool,
    /// The film's curve is a wedge spectrogram made with this lamp: its power by
    /// wavelength. Otherwise sensitivity is to equal energy.
    #[arg(long, value_name = "LAMP", requires = "film", value_hint = ValueHint::FilePath)]
    film_wedge_lamp: Option<String>,
    /// The film's sensitivity is to equal numbers of photons.
    #[arg(long, requires = "film", conflicts_with = "film_wedge_lamp")]
    film_equal_photons: bool,
    /// A class in place of a curve: orthochromatic, panchromatic, extended-red,
    /// near-infrared or infrared; smooth models of our own, with their spread.
    #[arg(long, value_name = "CLASS", conflicts_with = "film")]
    film_class: Option<String>,
    /// One standard deviation of the film's red end, when spectra are used.
    #[arg(long, value_name = "NM", allow_negative_numbers = true)]
    film_edge_sd: Option<f64>,
    /// One standard deviation of the filter's edge, when spectra are used.
    #[arg(long, value_name = "NM", allow_negative_numbers = true)]
    filter_edge_sd: Option<f64>,
}

impl FilmOptions {
    /// The film that was named; `absolute` where its file is in absolute units.
    ///
    /// # Errors
    /// [`AppError`] when none was named, which the options themselves refuse before.
    pub(crate) fn film(
        &self,
        absolute: Option<AbsoluteSensitivity>,
    ) -> Result<FilmChoice, AppError> {
        match (&self.film, &self.film_class) {
            (Some(text), _) => Ok(FilmChoice::File {
                file: SpectralFile::from_text(text),
                log: self.film_log,
                convention: self.convention(),
                absolute,
            }),
            (None, Some(class)) => Ok(FilmChoice::Class(class.clone())),
            (None, None) => Err(AppError::new("no film", "give --film or --film-class")),
        }
    }

    fn convention(&self) -> FilmConvention {
        match &self.film_wedge_lamp {
            Some(lamp) => FilmConvention::Wedge(SpectralFile::from_text(lamp)),
            None if self.film_equal_photons => FilmConvention::EqualPhotons,
            None => FilmConvention::EqualEnergy,
        }
    }

    /// How well the edges are known; `light_infrared_stops` of the light beyond 700 nm.
    pub(crate) fn spread(&self, light_infrared_stops: Option<f64>) -> StatedSpread {
        StatedSpread {
            film_edge_nm: self.film_edge_sd,
            filter_edge_nm: self.filter_edge_sd,
            light_infrared_stops,
        }
    }
}
