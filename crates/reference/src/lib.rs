//! Published spectral tables, each with its origin.
//!
//! A pure room: the tables are part of the program, no file is opened. It holds
//! numbers and where they come from, and computes nothing. `spectra` never
//! looks in here; a caller takes a table from here and hands it in.
//!
//! Each table is a file in `data/` with a note `….ORIGIN.md` beside it, which
//! says author, licence, columns, range and uncertainty.

mod table;

pub use table::{Table, TableError};

/// V(λ) of photopic vision, CIE 1924: `wavelength_nm`, `V`; 360 to 830 nm.
///
/// # Errors
/// [`TableError`] when the file that was built in is damaged.
pub fn luminosity() -> Result<Table, TableError> {
    Table::parsed(
        "data/luminosity_1924.csv",
        include_str!("../../../data/luminosity_1924.csv"),
    )
}

/// S0, S1 and S2 of CIE daylight: `wavelength_nm`, `S0`, `S1`, `S2`; 300 to 830 nm.
///
/// # Errors
/// [`TableError`] when the file that was built in is damaged.
pub fn daylight_components() -> Result<Table, TableError> {
    Table::parsed(
        "data/daylight_components.csv",
        include_str!("../../../data/daylight_components.csv"),
    )
}

/// Coefficients of the clear-sky model of Bird and Riordan 1984; 300 to 4000 nm.
///
/// Columns: `wavelength_nm`, `E0_W_m2_nm`, `water_aw_per_cm`,
/// `ozone_ao_per_atmcm`, `mixed_au`.
///
/// # Errors
/// [`TableError`] when the file that was built in is damaged.
pub fn clear_sky_coefficients() -> Result<Table, TableError> {
    Table::parsed(
        "data/clear_sky_coefficients.csv",
        include_str!("../../../data/clear_sky_coefficients.csv"),
    )
}

/// Transmittance of gelatin filters, percent; empty cells are not known.
///
/// No. 25, 29 and 70 are known to 700 nm only, so they can't be used alone with
/// a film that sees further.
///
/// # Errors
/// [`TableError`] when the file that was built in is damaged.
pub fn gelatin_filters_percent() -> Result<Table, TableError> {
    Table::parsed(
        "data/gelatin_filters_percent.csv",
        include_str!("../../../data/gelatin_filters_percent.csv"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(table: &Table, column: &str, nm: f64) -> Option<f64> {
        let values = table.column(column).unwrap();
        let place = values.iter().position(|(at, _)| *at == nm).unwrap();
        values[place].1
    }

    #[test]
    fn tables_have_the_values_of_their_publications() {
        // Source: CIE 1924, V(555) = 1, V(700) = 0.004102.
        let v = luminosity().unwrap();
        assert_eq!(v.rows().len(), 95);
        assert_eq!(at(&v, "V", 555.0), Some(1.0));
        assert_eq!(at(&v, "V", 700.0), Some(0.004102));
        // Source: CIE 15, S0(560) = 100, S1(560) = S2(560) = 0.
        let s = daylight_components().unwrap();
        assert_eq!(s.rows().len(), 54);
        assert_eq!(at(&s, "S0", 560.0), Some(100.0));
        assert_eq!(at(&s, "S1", 560.0), Some(0.0));
        assert_eq!(at(&s, "S2", 560.0), Some(0.0));
        // Source: SERI/TR-215-2436, table 2-1, first row.
        let c = clear_sky_coefficients().unwrap();
        assert_eq!(c.rows().len(), 122);
        assert_eq!(at(&c, "E0_W_m2_nm", 300.0), Some(0.5359));
        assert_eq!(at(&c, "ozone_ao_per_atmcm", 300.0), Some(10.0));
    }

    #[test]
    fn what_a_filter_table_does_not_say_stays_unknown() {
        let filters = gelatin_filters_percent().unwrap();
        // Source: the published table: 89B 11.2 % at 700 nm, 57.6 % at 720 nm.
        assert_eq!(at(&filters, "No89B", 700.0), Some(11.2));
        assert_eq!(at(&filters, "No89B", 720.0), Some(57.6));
        assert_eq!(at(&filters, "No25", 710.0), None);
        assert_eq!(at(&filters, "No87", 690.0), None);
    }

    #[test]
    fn a_damaged_table_is_refused_with_its_line() {
        let error = Table::parsed("x.csv", "wavelength_nm,a\n400,1\n390,2\n").unwrap_err();
        assert!(error.to_string().contains("line 3"), "{error}");
        assert!(Table::parsed("x.csv", "wavelength_nm,a\n400,one\n").is_err());
        assert!(Table::parsed("x.csv", "wavelength_nm,a\n400,1,2\n").is_err());
        assert!(Table::parsed("x.csv", "").is_err());
    }
}
