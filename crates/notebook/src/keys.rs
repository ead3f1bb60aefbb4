//! How keys of `test.toml` are read, written and described.
//!
//! One macro, `tables!`, declares a table once: its keys, their types and what
//! they mean. From that come the reader (which collects every problem with its
//! place), the writer, the JSON Schema and the tables of the documentation. So
//! what is described is what is read.

use crate::problem::{Problems, Source, likely};
use core::ops::Range;
use quantity::{
    Celsius, Ev100, ExposureIndex, FNumber, FilterFactor, Illuminance, Luminance, Magnification,
    Millimetres, Nanometres, PupilRatio, Seconds, Stops,
};
use record::Id;
use serde_json::{Value, json};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Bytes of the source; empty for what was never read.
pub(crate) type Span = Range<usize>;

/// Reads one file and collects its problems.
pub(crate) struct Reader<'a> {
    /// The file.
    pub(crate) source: &'a Source,
    /// Problems met.
    pub(crate) problems: &'a mut Problems,
}

impl Reader<'_> {
    /// Adds a problem at a span.
    pub(crate) fn problem(
        &mut self,
        span: &Span,
        seen: impl Into<String>,
        expected: impl Into<String>,
        remedy: impl Into<String>,
    ) {
        let place = self.source.place(span.start);
        self.problems.add(&place, seen, expected, remedy);
    }

    /// Adds the problem that a value is not what was expected.
    pub(crate) fn mismatch(
        &mut self,
        span: &Span,
        what: &What,
        expected: &str,
        remedy: impl Into<String>,
    ) {
        let seen = format!(
            "`{}` of {} is {}",
            what.key,
            what.table,
            self.source.quoted(span)
        );
        self.problem(span, seen, expected, remedy);
    }
}

/// Names the key that is being read.
#[derive(Clone, Copy)]
pub(crate) struct What {
    /// Title of the table: `[[process]]`.
    pub(crate) table: &'static str,
    /// The key.
    pub(crate) key: &'static str,
}

/// What a value is written as.
pub(crate) enum Written {
    /// Not at all.
    Absent,
    /// On one line.
    Inline(String),
    /// One line for each element.
    List(Vec<String>),
    /// A table of its own.
    Table(Vec<Entry>),
    /// An array of tables.
    Tables(Vec<Vec<Entry>>),
}

/// A key with its value, to be written.
pub(crate) struct Entry {
    /// The key.
    pub(crate) key: &'static str,
    /// What it means.
    pub(crate) doc: &'static str,
    /// The value.
    pub(crate) value: Written,
}

/// A type that a value can have.
pub(crate) trait Field: Sized {
    /// Says in words what a value must be.
    fn expected() -> String;
    /// Gives the JSON Schema of a value.
    fn schema() -> Value;
    /// Reads a value; adds a problem and gives `None` when it can't.
    fn read(value: &Spanned<DeValue<'_>>, what: &What, reader: &mut Reader<'_>) -> Option<Self>;
    /// Gives what it is written as.
    fn written(&self) -> Written;
    /// The title when it is a table.
    const TABLE: Option<&'static str> = None;
    /// The keys when it is a table.
    fn keys() -> Vec<Key> {
        Vec::new()
    }
}

/// What is known of a key.
pub(crate) struct Key {
    /// The key.
    pub(crate) name: &'static str,
    /// What it means.
    pub(crate) doc: &'static str,
    /// Whether it must be there.
    pub(crate) required: bool,
    /// Its JSON Schema.
    pub(crate) schema: Value,
    /// Title and keys of the table that is its value.
    pub(crate) table: Option<(&'static str, Vec<Key>)>,
}

/// A place for a value in a table: must be there, may be there, or a list.
pub(crate) trait Slot: Sized {
    /// Reads the key from its table.
    fn read(
        table: &DeTable<'_>,
        what: &What,
        table_span: &Span,
        reader: &mut Reader<'_>,
    ) -> Option<Self>;
    /// Gives what it is written as.
    fn written(&self) -> Written;
    /// Gives what is known of the key.
    fn key(name: &'static str, doc: &'static str) -> Key;
}

/// A value that must be there.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Required<T>(pub(crate) T);

/// A value with its place in the file; equal when the values are.
#[derive(Clone, Debug)]
pub(crate) struct At<T> {
    /// The value.
    pub(crate) value: T,
    /// Where it stands.
    pub(crate) span: Span,
}

impl<T: PartialEq> PartialEq for At<T> {
    fn eq(&self, other: &Self) -> bool {
        self.value == other.value
    }
}

impl<T> At<T> {
    /// Takes a value that was never read from a file.
    pub(crate) fn nowhere(value: T) -> Self {
        Self { value, span: 0..0 }
    }
}

impl<T: Field> Field for At<T> {
    fn expected() -> String {
        T::expected()
    }
    fn schema() -> Value {
        T::schema()
    }
    fn read(value: &Spanned<DeValue<'_>>, what: &What, reader: &mut Reader<'_>) -> Option<Self> {
        let span = value.span();
        T::read(value, what, reader).map(|value| Self { value, span })
    }
    fn written(&self) -> Written {
        self.value.written()
    }
    const TABLE: Option<&'static str> = T::TABLE;
    fn keys() -> Vec<Key> {
        T::keys()
    }
}

fn table_of<T: Field>() -> Option<(&'static str, Vec<Key>)> {
    T::TABLE.map(|title| (title, T::keys()))
}

impl<T: Field> Slot for Required<T> {
    fn read(
        table: &DeTable<'_>,
        what: &What,
        table_span: &Span,
        reader: &mut Reader<'_>,
    ) -> Option<Self> {
        if let Some(value) = table.get(what.key) {
            return T::read(value, what, reader).map(Self);
        }
        reader.problem(
            table_span,
            format!("{} has no key `{}`", what.table, what.key),
            format!("`{} = …`, {}", what.key, T::expected()),
            "add the key",
        );
        None
    }
    fn written(&self) -> Written {
        self.0.written()
    }
    fn key(name: &'static str, doc: &'static str) -> Key {
        Key {
            name,
            doc,
            required: true,
            schema: T::schema(),
            table: table_of::<T>(),
        }
    }
}

impl<T: Field> Slot for Option<T> {
    fn read(
        table: &DeTable<'_>,
        what: &What,
        _table_span: &Span,
        reader: &mut Reader<'_>,
    ) -> Option<Self> {
        match table.get(what.key) {
            Some(value) => T::read(value, what, reader).map(Some),
            None => Some(None),
        }
    }
    fn written(&self) -> Written {
        self.as_ref().map_or(Written::Absent, Field::written)
    }
    fn key(name: &'static str, doc: &'static str) -> Key {
        Key {
            name,
            doc,
            required: false,
            schema: T::schema(),
            table: table_of::<T>(),
        }
    }
}

impl<T: Field> Slot for Vec<T> {
    fn read(
        table: &DeTable<'_>,
        what: &What,
        _table_span: &Span,
        reader: &mut Reader<'_>,
    ) -> Option<Self> {
        match table.get(what.key) {
            Some(value) => list(value, what, reader),
            None => Some(Self::new()),
        }
    }
    fn written(&self) -> Written {
        if self.is_empty() {
            Written::Absent
        } else {
            written_list(self)
        }
    }
    fn key(name: &'static str, doc: &'static str) -> Key {
        Key {
            name,
            doc,
            required: false,
            schema: json!({ "type": "array", "items": T::schema() }),
            table: table_of::<T>(),
        }
    }
}

/// A list that may be left out, told apart from an empty one.
impl<T: Field> Field for Vec<T> {
    fn expected() -> String {
        format!("a list, each {}", T::expected())
    }
    fn schema() -> Value {
        json!({ "type": "array", "items": T::schema() })
    }
    fn read(value: &Spanned<DeValue<'_>>, what: &What, reader: &mut Reader<'_>) -> Option<Self> {
        list(value, what, reader)
    }
    fn written(&self) -> Written {
        written_list(self)
    }
    const TABLE: Option<&'static str> = T::TABLE;
    fn keys() -> Vec<Key> {
        T::keys()
    }
}

fn list<T: Field>(
    value: &Spanned<DeValue<'_>>,
    what: &What,
    reader: &mut Reader<'_>,
) -> Option<Vec<T>> {
    let Some(array) = value.get_ref().as_array() else {
        let (expected, remedy) = match T::TABLE {
            Some(title) if title.starts_with("[[") && value.get_ref().is_table() => (
                format!("tables titled {title}"),
                format!("write the title with two brackets on each side: {title}"),
            ),
            _ => (
                format!("a list in brackets, each {}", T::expected()),
                "put the value in brackets: […]".to_owned(),
            ),
        };
        reader.mismatch(&value.span(), what, &expected, remedy);
        return None;
    };
    // Every element is read, so that all their problems are found.
    let read: Vec<Option<T>> = array
        .iter()
        .map(|element| T::read(element, what, reader))
        .collect();
    read.into_iter().collect()
}

fn written_list<T: Field>(list: &[T]) -> Written {
    if T::TABLE.is_some() {
        let tables = list
            .iter()
            .filter_map(|element| match element.written() {
                Written::Table(entries) => Some(entries),
                _ => None,
            })
            .collect();
        return Written::Tables(tables);
    }
    Written::List(
        list.iter()
            .map(|element| inline(element.written()))
            .collect(),
    )
}

/// Writes a value on one line.
pub(crate) fn inline(value: Written) -> String {
    match value {
        Written::Absent => String::new(),
        Written::Inline(text) => text,
        Written::List(elements) => format!("[{}]", elements.join(", ")),
        Written::Table(entries) => {
            let pairs: Vec<_> = entries
                .into_iter()
                .filter(|entry| !matches!(entry.value, Written::Absent))
                .map(|entry| format!("{} = {}", entry.key, inline(entry.value)))
                .collect();
            format!("{{ {} }}", pairs.join(", "))
        }
        Written::Tables(tables) => {
            let tables: Vec<_> = tables
                .into_iter()
                .map(|entries| inline(Written::Table(entries)))
                .collect();
            format!("[{}]", tables.join(", "))
        }
    }
}

/// Says which keys of a table are not known, and which may have been meant.
pub(crate) fn unknown_keys(
    table: &DeTable<'_>,
    title: &'static str,
    known: &[&'static str],
    reader: &mut Reader<'_>,
) {
    for key in table.keys() {
        let name: &str = key.get_ref();
        if known.contains(&name) {
            continue;
        }
        let seen = format!("unknown key `{}` in {title}", crate::problem::short(name));
        let mut meant = likely(name, known.iter().copied());
        if meant.is_empty() {
            meant = other_words(name, known);
        }
        let remedy = if !meant.is_empty() {
            let meant: Vec<_> = meant.into_iter().map(with_unit).collect();
            format!("did you mean {}?", meant.join(" or "))
        } else if let Some(title) = crate::schema::title_with_key(name) {
            format!("`{name}` is a key of {title}: move it there")
        } else {
            "remove the key, or keep the note as a comment: a line that begins with #".to_owned()
        };
        let expected = format!("one of {}", known.join(", "));
        reader.problem(&key.span(), seen, expected, remedy);
    }
}

/// Gives the keys that other words of the trade stand for.
fn other_words<'a>(word: &str, known: &[&'a str]) -> Vec<&'a str> {
    const OTHERS: [(&str, &str); 17] = [
        ("asa", "box_speed"),
        ("asa", "ei"),
        ("comment", "remarks"),
        ("description", "remarks"),
        ("exposure", "time_marked_s"),
        ("f_number", "aperture_f"),
        ("f_stop", "aperture_f"),
        ("fstop", "aperture_f"),
        ("iso", "box_speed"),
        ("iso", "ei"),
        ("model", "name"),
        ("notes", "remarks"),
        ("path", "file"),
        ("shutter", "time_marked_s"),
        ("speed", "time_marked_s"),
        ("temp", "temperature_c"),
        ("weather", "sky"),
    ];
    let word = word.to_lowercase();
    OTHERS
        .iter()
        .filter(|(other, _)| *other == word)
        .filter_map(|(_, key)| known.iter().find(|known| *known == key).copied())
        .collect()
}

/// Gives a key with the unit that its ending stands for.
fn with_unit(key: &str) -> String {
    match unit(key) {
        Some(unit) => format!("`{key}` ({unit})"),
        None => format!("`{key}`"),
    }
}

/// Gives the unit that a key's ending stands for.
pub(crate) fn unit(key: &str) -> Option<&'static str> {
    // The two whose ending says something else than their unit.
    if key == "aperture_f" {
        return Some("f-number");
    }
    if key.ends_with("_marked_s") || key.ends_with("_actual_s") {
        return Some("seconds");
    }
    let endings = [
        ("_stops_per_decade", "stops per decade of time"),
        ("_cd_per_m2", "candela per square metre"),
        ("_stops", "stops"),
        ("_lux", "lux"),
        ("_px", "pixels"),
        ("_mm", "millimetres"),
        ("_nm", "nanometres"),
        ("density_sd", "density"),
        ("_sd", "log10 of exposure"),
        ("_percent", "percent"),
        ("_c", "degrees Celsius"),
        ("_s", "seconds"),
    ];
    endings
        .into_iter()
        .find(|(ending, _)| key.ends_with(ending))
        .map(|(_, unit)| unit)
}

/// Gives the number of an integer or a float.
fn number(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Integer(integer) => {
            let integer = i128::from_str_radix(integer.as_str(), integer.radix()).ok()?;
            // Whole numbers above 2^53 lose digits here; no key takes one.
            Some(integer as f64)
        }
        DeValue::Float(float) => float.as_str().parse().ok(),
        _ => None,
    }
}

/// Gives the shortest text that reads back as the same number.
pub(crate) fn number_text(number: f64) -> String {
    if number == number.trunc() && number.abs() < 1e15 {
        format!("{number}")
    } else {
        format!("{number:?}")
    }
}

impl Field for String {
    fn expected() -> String {
        "text in quotes".to_owned()
    }
    fn schema() -> Value {
        json!({ "type": "string", "minLength": 1 })
    }
    fn read(value: &Spanned<DeValue<'_>>, what: &What, reader: &mut Reader<'_>) -> Option<Self> {
        match value.get_ref().as_str() {
            Some(text) if !text.trim().is_empty() => Some(text.to_owned()),
            Some(_) => {
                let remedy = "write something, or leave the key out";
                reader.mismatch(&value.span(), what, "text that is not empty", remedy);
                None
            }
            None => {
                let remedy = "put it in quotes: \"…\"";
                reader.mismatch(&value.span(), what, &Self::expected(), remedy);
                None
            }
        }
    }
    fn written(&self) -> Written {
        Written::Inline(quoted(self))
    }
}

/// Writes a text as TOML.
pub(crate) fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

impl Field for bool {
    fn expected() -> String {
        "true or false".to_owned()
    }
    fn schema() -> Value {
        json!({ "type": "boolean" })
    }
    fn read(value: &Spanned<DeValue<'_>>, what: &What, reader: &mut Reader<'_>) -> Option<Self> {
        let read = value.get_ref().as_bool();
        if read.is_none() {
            let remedy = "write true or false, without quotes";
            reader.mismatch(&value.span(), what, &Self::expected(), remedy);
        }
        read
    }
    fn written(&self) -> Written {
        Written::Inline(self.to_string())
    }
}

impl Field for u32 {
    fn expected() -> String {
        "a whole number, 0 or more".to_owned()
    }
    fn schema() -> Value {
        json!({ "type": "integer", "minimum": 0, "maximum": u32::MAX })
    }
    fn read(value: &Spanned<DeValue<'_>>, what: &What, reader: &mut Reader<'_>) -> Option<Self> {
        let read = value
            .get_ref()
            .as_integer()
            .and_then(|integer| Self::from_str_radix(integer.as_str(), integer.radix()).ok());
        if read.is_none() {
            let remedy = "write a whole number, without quotes";
            reader.mismatch(&value.span(), what, &Self::expected(), remedy);
        }
        read
    }
    fn written(&self) -> Written {
        Written::Inline(self.to_string())
    }
}

impl Field for Id {
    fn expected() -> String {
        "a record name: 1 to 64 letters, digits, '-', '_' or '.', starting with a letter or digit"
            .to_owned()
    }
    fn schema() -> Value {
        json!({ "type": "string", "pattern": "^[\\p{L}\\p{N}][\\p{L}\\p{N}._-]{0,63}$" })
    }
    fn read(value: &Spanned<DeValue<'_>>, what: &What, reader: &mut Reader<'_>) -> Option<Self> {
        let remedy = match value.get_ref().as_str() {
            Some(text) => match Self::new(text) {
                Ok(id) => return Some(id),
                Err(_) => "use other characters, such as '-' for a blank",
            },
            None => "put the name in quotes: \"…\"",
        };
        reader.mismatch(&value.span(), what, &Self::expected(), remedy);
        None
    }
    fn written(&self) -> Written {
        Written::Inline(quoted(self.as_str()))
    }
}

/// Reads a number and makes a quantity of it.
fn quantity<T, E: core::fmt::Display>(
    value: &Spanned<DeValue<'_>>,
    what: &What,
    reader: &mut Reader<'_>,
    expected: &str,
    from: impl Fn(f64) -> Result<T, E>,
) -> Option<T> {
    let Some(number) = number(value.get_ref()) else {
        let remedy = match value.get_ref().as_str() {
            Some(text) if text.trim().replace(',', ".").parse::<f64>().is_ok() => {
                "write the number without quotes and with a decimal point"
            }
            _ => "write a plain number; the unit belongs to the key",
        };
        reader.mismatch(&value.span(), what, expected, remedy);
        return None;
    };
    match from(number) {
        Ok(quantity) => Some(quantity),
        Err(error) => {
            reader.mismatch(
                &value.span(),
                what,
                expected,
                format!("correct the number: {error}"),
            );
            None
        }
    }
}

macro_rules! number_fields {
    ($($type:ty, $expected:literal, $from:expr, $to:expr, $schema:tt;)*) => { $(
        impl Field for $type {
            fn expected() -> String {
                $expected.to_owned()
            }
            fn schema() -> Value {
                json!($schema)
            }
            fn read(
                value: &Spanned<DeValue<'_>>,
                what: &What,
                reader: &mut Reader<'_>,
            ) -> Option<Self> {
                quantity(value, what, reader, $expected, $from)
            }
            fn written(&self) -> Written {
                let to: fn(&Self) -> f64 = $to;
                Written::Inline(number_text(to(self)))
            }
        }
    )* };
}

/// A standard deviation: finite, 0 or more.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Deviation(pub(crate) f64);

/// A finite number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Finite(pub(crate) f64);

/// A finite number greater than 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Positive(pub(crate) f64);

/// A standard deviation in stops: 0 or more.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Spread(pub(crate) Stops);

/// A gross density.
pub(crate) use quantity::Density;

/// Why a number is none of the three above.
#[derive(Debug, thiserror::Error)]
#[error("found {0}")]
pub(crate) struct NoSuchNumber(f64);

impl Spread {
    /// Takes a finite number of stops that is not negative.
    fn new(value: f64) -> Result<Self, NoSuchNumber> {
        match Stops::new(value) {
            Ok(stops) if value >= 0.0 => Ok(Self(stops)),
            _ => Err(NoSuchNumber(value)),
        }
    }
}

impl Deviation {
    /// Takes a finite number that is not negative.
    pub(crate) fn new(value: f64) -> Result<Self, NoSuchNumber> {
        if value.is_finite() && value >= 0.0 {
            Ok(Self(value))
        } else {
            Err(NoSuchNumber(value))
        }
    }
}

number_fields! {
    Deviation, "a standard deviation, a number of 0 or more", Deviation::new, |d| d.0,
        { "type": "number", "minimum": 0 };
    Spread, "a standard deviation in stops, 0 or more", Spread::new, |s| s.0.to_stops(),
        { "type": "number", "minimum": 0 };
    Finite, "a finite number",
        |n: f64| if n.is_finite() { Ok(Finite(n)) } else { Err(NoSuchNumber(n)) }, |n| n.0,
        { "type": "number" };
    Positive, "a number greater than 0",
        |n: f64| if n.is_finite() && n > 0.0 { Ok(Positive(n)) } else { Err(NoSuchNumber(n)) },
        |n| n.0, { "type": "number", "exclusiveMinimum": 0 };
    Density, "a density between -1 and 10", Density::gross, |d| d.to_density(),
        { "type": "number", "minimum": -1, "maximum": 10 };
    Millimetres, "a number of millimetres greater than 0", Millimetres::from_mm, |q| q.to_mm(),
        { "type": "number", "exclusiveMinimum": 0 };
    Nanometres, "a number of nanometres greater than 0", Nanometres::from_nm, |q| q.to_nm(),
        { "type": "number", "exclusiveMinimum": 0 };
    FNumber, "an f-number greater than 0, such as 22", FNumber::from_ratio, |q| q.to_ratio(),
        { "type": "number", "exclusiveMinimum": 0 };
    Magnification, "image size over object size, between 0 and 1000",
        Magnification::from_ratio, |q| q.to_ratio(),
        { "type": "number", "minimum": 0, "maximum": 1000 };
    PupilRatio, "a ratio greater than 0", PupilRatio::from_ratio, |q| q.to_ratio(),
        { "type": "number", "exclusiveMinimum": 0 };
    Ev100, "an exposure value at ISO 100, between -30 and 40", Ev100::from_ev, |q| q.to_ev(),
        { "type": "number", "minimum": -30, "maximum": 40 };
    Illuminance, "a number of lux greater than 0", Illuminance::from_lux, |q| q.to_lux(),
        { "type": "number", "exclusiveMinimum": 0 };
    Luminance, "a number of candela per square metre greater than 0",
        Luminance::from_cd_per_m2, |q| q.to_cd_per_m2(),
        { "type": "number", "exclusiveMinimum": 0 };
    Celsius, "degrees Celsius, between -100 and 100", Celsius::from_c, |q| q.to_c(),
        { "type": "number", "minimum": -100, "maximum": 100 };
    Stops, "a number of stops", Stops::new, |q| q.to_stops(), { "type": "number" };
    FilterFactor, "a filter factor as a ratio greater than 0: 8 for three stops",
        FilterFactor::from_ratio, |q| q.to_ratio(), { "type": "number", "exclusiveMinimum": 0 };
    ExposureIndex, "an exposure index greater than 0, such as 400",
        ExposureIndex::from_arithmetic, |q| q.to_arithmetic(),
        { "type": "number", "exclusiveMinimum": 0 };
}

impl Field for Seconds {
    fn expected() -> String {
        "seconds greater than 0: a number such as 0.5, or a fraction in quotes such as \"1/30\""
            .to_owned()
    }
    fn schema() -> Value {
        json!({ "oneOf": [
            { "type": "number", "exclusiveMinimum": 0 },
            { "type": "string", "pattern": "^\\s*[0-9.]+\\s*(/\\s*[0-9.]+\\s*)?$" },
        ] })
    }
    fn read(value: &Spanned<DeValue<'_>>, what: &What, reader: &mut Reader<'_>) -> Option<Self> {
        let expected = Self::expected();
        if let Some(text) = value.get_ref().as_str() {
            let read = seconds_from_text(text);
            if read.is_none() {
                let remedy = "write the seconds as a number, or a fraction such as \"1/30\"";
                reader.mismatch(&value.span(), what, &expected, remedy);
            }
            return read;
        }
        quantity(value, what, reader, &expected, Self::from_s)
    }
    fn written(&self) -> Written {
        let s = self.to_s();
        let whole = (1.0 / s).round();
        // A fraction only when it reads back as the very same number.
        if s < 1.0 && whole < 100_000.0 && 1.0 / whole == s {
            return Written::Inline(format!("\"1/{whole}\""));
        }
        Written::Inline(number_text(s))
    }
}

/// Reads `0.5` or `1/30`.
pub(crate) fn seconds_from_text(text: &str) -> Option<Seconds> {
    let plain = |part: &str| {
        let part = part.trim();
        let digits = part.chars().all(|c| c.is_ascii_digit() || c == '.');
        if digits {
            part.parse::<f64>().ok()
        } else {
            None
        }
    };
    let seconds = match text.split_once('/') {
        Some((above, below)) => plain(above)? / plain(below)?,
        None => plain(text)?,
    };
    Seconds::from_s(seconds).ok()
}

/// The corners of a polygon, each `[x, y]` in pixels.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Corners(pub(crate) Vec<(f64, f64)>);

impl Field for Corners {
    fn expected() -> String {
        "a list of at least three corners [x, y]".to_owned()
    }
    fn schema() -> Value {
        json!({ "type": "array", "minItems": 3, "items": {
            "type": "array", "minItems": 2, "maxItems": 2, "items": { "type": "number" },
        } })
    }
    fn read(value: &Spanned<DeValue<'_>>, what: &What, reader: &mut Reader<'_>) -> Option<Self> {
        let corner = |element: &Spanned<DeValue<'_>>| {
            let pair = element.get_ref().as_array()?;
            if pair.len() != 2 {
                return None;
            }
            let x = number(pair.first()?.get_ref()).filter(|n| n.is_finite())?;
            let y = number(pair.get(1)?.get_ref()).filter(|n| n.is_finite())?;
            Some((x, y))
        };
        let corners = value
            .get_ref()
            .as_array()
            .and_then(|array| array.iter().map(corner).collect::<Option<Vec<_>>>())
            .filter(|corners| corners.len() >= 3);
        if corners.is_none() {
            let remedy = "write it like [[10, 20], [90, 20], [90, 70]]";
            reader.mismatch(&value.span(), what, &Self::expected(), remedy);
        }
        corners.map(Self)
    }
    fn written(&self) -> Written {
        let corners = self
            .0
            .iter()
            .map(|(x, y)| format!("[{}, {}]", number_text(*x), number_text(*y)))
            .collect();
        Written::List(corners)
    }
}

/// A calendar time with its offset from UTC, as RFC 3339 has it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Rfc3339(pub(crate) String);

impl Field for Rfc3339 {
    fn expected() -> String {
        "a date and time with its offset from UTC, such as \"2026-06-21T12:30:00+02:00\"".to_owned()
    }
    fn schema() -> Value {
        json!({ "type": "string", "format": "date-time" })
    }
    fn read(value: &Spanned<DeValue<'_>>, what: &What, reader: &mut Reader<'_>) -> Option<Self> {
        let text = match value.get_ref() {
            DeValue::String(text) => text.to_string(),
            DeValue::Datetime(time) => time.to_string(),
            _ => String::new(),
        };
        if text.parse::<jiff::Timestamp>().is_ok() {
            return Some(Self(text));
        }
        let remedy = "write date, time and offset; Z is Greenwich time";
        reader.mismatch(&value.span(), what, &Self::expected(), remedy);
        None
    }
    fn written(&self) -> Written {
        Written::Inline(quoted(&self.0))
    }
}

/// Reads a text that must be one of several words.
pub(crate) fn word<T: Copy>(
    value: &Spanned<DeValue<'_>>,
    what: &What,
    reader: &mut Reader<'_>,
    words: &[(&'static str, T)],
) -> Option<T> {
    if let Some(text) = value.get_ref().as_str()
        && let Some((_, found)) = words.iter().find(|(word, _)| *word == text)
    {
        return Some(*found);
    }
    let text = value.get_ref().as_str().unwrap_or_default();
    let meant = likely(text, words.iter().map(|(word, _)| *word));
    let remedy = match meant.first() {
        Some(word) => format!("did you mean \"{word}\"?"),
        None => "use one of these words, in quotes".to_owned(),
    };
    let listed: Vec<_> = words
        .iter()
        .map(|(word, _)| format!("\"{word}\""))
        .collect();
    reader.mismatch(
        &value.span(),
        what,
        &format!("one of {}", listed.join(", ")),
        remedy,
    );
    None
}

/// Declares tables of `test.toml`.
macro_rules! tables {
    ($(
        $(#[doc = $doc:literal])+
        $name:ident $title:literal {
            $( $(#[doc = $field_doc:literal])+ $field:ident: $type:ty, )*
        }
    )*) => { $(
        $(#[doc = $doc])+
        #[derive(Clone, Debug, PartialEq)]
        pub(crate) struct $name {
            /// Where it begins in the file.
            pub(crate) span: $crate::keys::TablePlace,
            $( $(#[doc = $field_doc])+ pub(crate) $field: $type, )*
        }

        impl $name {
            /// What it holds.
            pub(crate) const DOC: &'static str = concat!($($doc),+);

            /// Reads it from a table that was parsed.
            pub(crate) fn from_table(
                table: &toml::de::DeTable<'_>,
                span: $crate::keys::Span,
                reader: &mut $crate::keys::Reader<'_>,
            ) -> Option<Self> {
                let known = [$(stringify!($field)),*];
                $crate::keys::unknown_keys(table, $title, &known, reader);
                $(
                    let what = $crate::keys::What { table: $title, key: stringify!($field) };
                    let $field =
                        <$type as $crate::keys::Slot>::read(table, &what, &span, reader);
                )*
                Some(Self { span: $crate::keys::TablePlace(span), $( $field: $field?, )* })
            }

            /// Gives its keys with their values, to be written.
            pub(crate) fn entries(&self) -> Vec<$crate::keys::Entry> {
                vec![$( $crate::keys::Entry {
                    key: stringify!($field),
                    doc: concat!($($field_doc),+),
                    value: $crate::keys::Slot::written(&self.$field),
                } ),*]
            }
        }

        impl $crate::keys::Field for $name {
            fn expected() -> String {
                concat!("a table of ", $title).to_owned()
            }
            fn schema() -> serde_json::Value {
                $crate::keys::table_schema(Self::DOC, &Self::keys())
            }
            fn read(
                value: &toml::Spanned<toml::de::DeValue<'_>>,
                what: &$crate::keys::What,
                reader: &mut $crate::keys::Reader<'_>,
            ) -> Option<Self> {
                $crate::keys::table(value, what, reader)
                    .and_then(|table| Self::from_table(table, value.span(), reader))
            }
            fn written(&self) -> $crate::keys::Written {
                $crate::keys::Written::Table(self.entries())
            }
            const TABLE: Option<&'static str> = Some($title);
            fn keys() -> Vec<$crate::keys::Key> {
                vec![$( <$type as $crate::keys::Slot>::key(
                    stringify!($field),
                    concat!($($field_doc),+),
                ) ),*]
            }
        }
    )* };
}
pub(crate) use tables;

/// Where a table begins; all are equal, so that tables compare by what they say.
#[derive(Clone, Debug, Default)]
pub(crate) struct TablePlace(pub(crate) Span);

impl PartialEq for TablePlace {
    fn eq(&self, _other: &Self) -> bool {
        true
    }
}

/// Gives the table that a value must be.
pub(crate) fn table<'v, 'i>(
    value: &'v Spanned<DeValue<'i>>,
    what: &What,
    reader: &mut Reader<'_>,
) -> Option<&'v DeTable<'i>> {
    let table = value.get_ref().as_table();
    if table.is_none() {
        let remedy = "write it like { key = value, … }";
        reader.mismatch(&value.span(), what, "a table", remedy);
    }
    table
}

/// Gives the JSON Schema of a table.
pub(crate) fn table_schema(doc: &str, keys: &[Key]) -> Value {
    let mut properties = serde_json::Map::new();
    let mut required = Vec::new();
    for key in keys {
        let mut schema = key.schema.clone();
        if let Some(object) = schema.as_object_mut() {
            let mut text = key.doc.trim().to_owned();
            if let Some(unit) = unit(key.name) {
                text.push_str(&format!(" [{unit}]"));
            }
            object.insert("description".to_owned(), Value::String(text));
        }
        properties.insert(key.name.to_owned(), schema);
        if key.required {
            required.push(key.name);
        }
    }
    json!({
        "type": "object",
        "description": doc.trim(),
        "properties": properties,
        "required": required,
        "additionalProperties": false,
    })
}
