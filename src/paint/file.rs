//! The pigment file: one paint as JSON. README.md documents it; `tests/data/pigment.schema.json` is its schema.

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::{Constants, Covariance};
use crate::{
    Error, Result,
    card::Ground,
    colour,
    film::table,
    json::{DEEPEST, Kind},
    spectrum::{self, BANDS},
};

/// Value of [`Record::format`].
pub const FORMAT: &str = "twoground-pigment";
/// Version that this program writes.
pub const VERSION: u32 = 1;
/// Largest file that is read, in bytes.
pub const LARGEST: usize = 4 << 20;
/// Longest label text, in characters.
pub const LONGEST_TEXT: usize = 2000;
/// Most films and Colour Index names of one record.
pub const MOST_ENTRIES: usize = 64;

/// Least and most weight of a film that is read, in g per square metre: far thinner and thicker than any is drawn.
pub const FILM_WEIGHT: [f64; 2] = [0.1, 10_000.0];

/// Least and most parts of either paint of a tint that are read.
pub const TINT_PARTS: [f64; 2] = [0.001, 1000.0];

/// Largest milk on black and standard deviation of it that is read, in L*: far more than there is.
pub const MOST_MILK: f64 = 1e6;

/// Everything known of one paint from one card. Field names are the file's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Record {
    /// Always [`FORMAT`].
    pub format: String,
    /// Format version.
    pub version: u32,
    /// What is written on the tube.
    pub paint: Label,
    /// What the numbers are relative to.
    pub basis: Basis,
    /// K on 31 bands, two-flux units per unit build. Empty when `state` is `not_modelled`.
    pub absorption: Vec<f64>,
    /// S on 31 bands.
    pub scattering: Vec<f64>,
    /// How well they are known.
    pub uncertainty: Uncertainty,
    /// The bare stripes.
    pub stripes: Stripes,
    /// Which of `films` has build 1.
    pub reference_film: usize,
    /// Films from top to bottom of the card.
    pub films: Vec<Film>,
    /// Measured cells, pooled by film and ground.
    pub cells: Vec<Cell>,
    /// `glossy`, `satin` or `matt`.
    pub surface: Surface,
    /// Dry to the touch when scanned, as the user said.
    pub dry: Dry,
    /// What set the films' thickness, if anything.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gauge: Option<String>,
    /// Weight of the reference film as laid, wet, in g per square metre, where it was weighed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub film_weight: Option<f64>,
    /// What the card could tell.
    pub state: State,
    /// Clear or milky, in numbers.
    pub opacity: Opacity,
    /// What was noticed while reading.
    pub findings: Vec<Finding>,
    /// Where it came from.
    pub provenance: Provenance,
    /// Coats as the painter really lays them, with what they were seen on. Nothing of the card's own reading.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub coats: Vec<Scrap>,
    /// Tints of this paint in known ratios, by which its films compare with those of the other paint's card. Nothing of the
    /// card's own reading.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub tints: Vec<Tint>,
    /// Fields of newer programs, kept as they are and written again.
    #[serde(skip)]
    pub unknown: serde_json::Map<String, serde_json::Value>,
}

/// Label data. Every field is text as typed.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(default)]
pub struct Label {
    /// Name for this tube.
    pub name: String,
    /// Maker.
    pub maker: String,
    /// Colour Index generic names, for example `PB29`.
    pub colour_index: Vec<String>,
    /// Binder, for example `linseed oil`.
    pub binder: String,
    /// Batch.
    pub batch: String,
    /// Day the card was drawn, as typed.
    pub drawn_on: String,
    /// Lightfastness, with its scale.
    pub lightfastness: String,
    /// Anything else.
    pub notes: String,
}

/// What builds count in. A file in another unit is refused: nothing here could turn its numbers into ours.
pub const FILM_UNIT: &str = "build of this card's reference film";

/// What the numbers are relative to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Basis {
    /// Band centres.
    pub wavelengths_nm: Vec<f64>,
    /// Unit of film build: always `build of this card's reference film`.
    pub film_unit: String,
    /// `D50`.
    pub illuminant: String,
    /// `CIE 1931 2 degree`.
    pub observer: String,
    /// Surface of paint to air.
    pub surface: SurfaceOptics,
    /// Light transport that K and S belong to.
    pub transport: Transport,
    /// What counts as reflectance 1.
    pub white_reference: String,
    /// What counts as reflectance 0 where that is not the scanner's own zero.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub black_reference: Option<String>,
    /// Rows X, Y, Z of the scan's own linear channels: what a scanner's zero is off by acts on these, and a cell that was clipped in
    /// one of them is a bound there. Older files keep them for clipped cells only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub channels_to_xyz: Option<[[f64; 3]; 3]>,
}

/// Constants of the smooth paint-to-air surface.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct SurfaceOptics {
    /// Refractive index of the paint.
    pub index: f64,
    /// Entry factor of the 45:0 geometry.
    pub entry: f64,
    /// Diffuse internal reflectance.
    pub inner: f64,
}

/// The transport model's own constants.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Transport {
    /// Scattering anisotropy g.
    pub anisotropy: f64,
    /// Quadrature directions.
    pub directions: usize,
}

/// Covariance of the constants.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(default)]
pub struct Uncertainty {
    /// Lower Cholesky factor of the covariance of log K (31), log S (31), log builds (films), row by row, without the zeros above the diagonal.
    pub lower_factor: Vec<Vec<f64>>,
    /// The next row of the same factor: the scattering's anisotropy, which the constants belong to. Empty where it is taken as
    /// known.
    #[serde(default)]
    pub anisotropy_row: Vec<f64>,
    /// Standard deviation of log K by band.
    pub log_absorption_sd: Vec<f64>,
    /// Standard deviation of log S by band.
    pub log_scattering_sd: Vec<f64>,
}

/// The bare stripes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Stripes {
    /// XYZ of bare white.
    pub white_xyz: [f64; 3],
    /// XYZ of bare black.
    pub black_xyz: [f64; 3],
    /// Reflectance spectrum behind the white, measured through its surface.
    pub white_spectrum: Vec<f64>,
    /// Reflectance spectrum behind the black.
    pub black_spectrum: Vec<f64>,
    /// Whether the card is sealed or painted, as the user said.
    pub sealed: bool,
}

/// One film of the card.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Film {
    /// Build in units of the reference film.
    pub build: f64,
    /// Its standard deviation.
    pub build_sd: f64,
}

/// One film over one ground, crossings pooled.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Cell {
    /// Index into `films`.
    pub film: usize,
    /// Over white or black.
    pub ground: Ground,
    /// Measured.
    pub xyz: [f64; 3],
    /// Standard deviations of `xyz` as a measure of the colour: pixels, unevenness, and usual errors of scanners.
    pub sd: [f64; 3],
    /// The part of `sd` that is pixels and unevenness alone, by which the cell can be fitted again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scatter: Option<[f64; 3]>,
    /// What the constants give.
    pub fitted_xyz: [f64; 3],
    /// CIEDE2000 between the two, once what the scanner's sensor usually adds is taken off.
    pub de00: f64,
    /// Pixels averaged.
    pub pixels: u64,
    /// Share of the cell left out as dust, hair, bubbles or ridges, 0 to 1.
    pub rejected_share: f64,
    /// Share of pixels with a channel at its end, 0 to 1.
    pub clipped_share: f64,
    /// Of a cell that was clipped, by the scan's own channels: share of pixels at the lower end, share at the upper end, and
    /// standard deviation of the mean.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clipped_channels: Option<[[f64; 3]; 3]>,
}

/// Coats of this paint as the painter lays them: a film of this card, or a scrap over a known colour. Their build is solved from
/// this whenever it is needed, so that it follows the constants.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Scrap {
    /// Way of working, in the painter's words, for example `brush`.
    pub way: String,
    /// How many coats, thinning counted: paint in all of them over paint in one coat from the tube.
    pub coats: f64,
    /// Index into `films`, where it is one of this card's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub film: Option<usize>,
    /// The colour below, where it is a scrap.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub over: Option<ScrapColour>,
    /// The scrap when dry.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub painted: Option<ScrapColour>,
    /// Where it came from, in words.
    #[serde(default)]
    pub from: String,
}

/// A colour of a scrap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ScrapColour {
    /// L*, a*, b* as seen, D50.
    pub lab: [f64; 3],
    /// Their standard deviations.
    pub lab_sd: [f64; 3],
    /// Its gloss.
    #[serde(default)]
    pub surface: Surface,
}

/// This paint stirred into another in a known ratio, and its colour. How the films of the two cards compare is solved from this
/// whenever it is needed, so that it follows the constants.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Tint {
    /// The other paint, mostly a white.
    pub with: TintedWith,
    /// Parts of this paint.
    pub parts: f64,
    /// Parts of the other.
    pub with_parts: f64,
    /// How the parts were measured.
    pub by: Measure,
    /// The tint when dry, too thick to see through.
    pub colour: ScrapColour,
    /// Where its colour came from, in words.
    #[serde(default)]
    pub from: String,
}

/// What a tube is known by: what its label says of it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(default)]
pub struct TintedWith {
    /// Its name.
    pub name: String,
    /// Maker.
    pub maker: String,
    /// Binder.
    pub binder: String,
    /// Batch.
    pub batch: String,
}

/// How parts are measured out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum Measure {
    /// By volume: spoonfuls, lengths of a squeezed-out strand.
    Volume,
    /// By weight.
    Weight,
}

/// Gloss of the card when scanned.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "lowercase")]
pub enum Surface {
    /// Mirror-like.
    #[default]
    Glossy,
    /// Between.
    Satin,
    /// Dull.
    Matt,
}

impl Surface {
    /// The constant that such a surface adds to what is seen, with how far it may be from that (starting values, ours; 0.02 to
    /// 0.04 seen for sunken films).
    pub fn haze(self) -> (f64, f64) {
        match self {
            Self::Glossy => (0.0, 0.002),
            Self::Satin => (0.01, 0.006),
            Self::Matt => (0.03, 0.012),
        }
    }
}

/// How a scanner sees, as far as the user knows: the wider its channels, the nearer they are to an eye's.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum ScannerKind {
    /// Not told.
    #[default]
    Unknown,
    /// White light, seen through broad filters (most thick flatbeds and all-in-one machines with a lamp; common practice, no
    /// source).
    WhiteLight,
    /// Three coloured lights, one after the other (most thin flatbeds that live on a USB plug; common practice, no source).
    ThreeLights,
}

impl ScannerKind {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Unknown, Self::WhiteLight, Self::ThreeLights];

    /// Its name in files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Unknown => "unknown",
            Self::WhiteLight => "white_light",
            Self::ThreeLights => "three_lights",
        }
    }

    /// The kind of that name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }
}

/// Whether the card was dry, as the user said: `"yes"`, `"no"`, or a day it has been dry since.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(transparent)]
pub struct Dry(pub String);

/// What the card could tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// K and S are known.
    Known,
    /// Every film hides: only K/S is known.
    MasstoneOnly,
    /// The black stripe is unchanged: S has an upper bound.
    ScatterAtMost,
    /// Both cells are near black: K has a lower bound.
    AbsorptionAtLeast,
    /// Only one film: wider range.
    OneFilm,
    /// Fluorescent, metallic or interference: no constants.
    NotModelled,
}

/// Clear or milky, in numbers. Numbers that a card cannot give are absent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Opacity {
    /// Rise of the black in L* at glaze depth; absent when the paint cannot fall that far.
    pub milk_on_black: Option<f64>,
    /// Its standard deviation.
    pub milk_sd: Option<f64>,
    /// The grade in words.
    pub grade: Option<Grade>,
    /// Y over black / Y over white, per film.
    pub contrast_ratio: Vec<f64>,
    /// Build at contrast ratio 0.98; absent when it is beyond ten times the thickest film.
    pub hiding_build: Option<f64>,
    /// Lab of a film too thick to see through.
    pub masstone_lab: Option<[f64; 3]>,
    /// Lab of the thinnest film over the white stripe.
    pub undertone_lab: Option<[f64; 3]>,
}

/// The five grades; bounds are the project's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Grade {
    /// Below 1 L*.
    #[serde(rename = "clear")]
    Clear,
    /// 1 to 3.
    #[serde(rename = "slightly milky")]
    SlightlyMilky,
    /// 3 to 12: a velatura.
    #[serde(rename = "veil")]
    Veil,
    /// Hides within three times the thickest film, never reaching glaze depth.
    #[serde(rename = "half covering")]
    HalfCovering,
    /// Above 12, or hides within the thickest film.
    #[serde(rename = "covering")]
    Covering,
}

/// Something noticed while reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Finding {
    /// Stable word for programs.
    pub code: String,
    /// A sentence for the painter, with what to do.
    pub words: String,
}

/// Where a record came from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Provenance {
    /// File name without folders.
    pub file_name: String,
    /// Pixels across and down of the upright scan.
    pub size: [usize; 2],
    /// Bits a channel.
    pub depth: u8,
    /// Profile description.
    pub profile: String,
    /// What scanned it, as answered.
    #[serde(default)]
    pub scanner: ScannerKind,
    /// Number of the card, where its printed codes tell it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub card_number: Option<u32>,
    /// When it was read, ISO 8601, or empty where no clock is at hand.
    pub when: String,
    /// Program version.
    pub program: String,
}

/// CIEDE2000 up to which a cell that was read again from the same scan may differ (ours).
const ONE_SCAN: f64 = 0.5;

const KIND: Kind = Kind {
    format: FORMAT,
    version: VERSION,
    largest: LARGEST,
    deepest: DEEPEST,
    refused: |field, reason| Error::PigmentFile { field, reason },
};

fn refused(field: impl AsRef<str>, reason: impl AsRef<str>) -> Error {
    KIND.refuse(field.as_ref(), reason.as_ref())
}

impl Record {
    /// Reads a pigment file and checks everything in it.
    ///
    /// # Errors
    /// [`Error::PigmentFile`] with the field that is wrong and why.
    pub fn read(text: &str) -> Result<Self> {
        let mut record: Self = KIND.read(text)?;
        // A key that stands twice has been refused by now.
        let original: Value =
            serde_json::from_str(text.strip_prefix('\u{feff}').unwrap_or(text))
                .map_err(|e| refused("the file", format!("is not whole JSON ({e})")))?;
        record.check()?;
        let known =
            serde_json::to_value(&record).map_err(|e| refused("the file", e.to_string()))?;
        objects_as_lists(&original, &known, "")?;
        if let (Value::Object(original), Value::Object(known)) = (original, &known) {
            record.unknown = unknown_fields(original, known);
        }
        Ok(record)
    }

    /// The pigment file as JSON text.
    pub fn write(&self) -> String {
        let mut value =
            serde_json::to_value(self).expect("a record is plain numbers, texts and lists");
        if let Value::Object(fields) = &mut value {
            merge(fields, &self.unknown);
        }
        let mut text = serde_json::to_string_pretty(&value).expect("a value is always written");
        text.push('\n');
        text
    }

    /// K, S and their covariance, for predictions.
    ///
    /// # Errors
    /// [`Error::CannotPredict`] for a paint without constants.
    pub fn constants(&self) -> Result<Constants> {
        if self.absorption.is_empty() {
            return Err(Error::CannotPredict(format!(
                "{} has no constants, only a picture: nothing can be predicted from it.",
                self.paint.name_or_unnamed()
            )));
        }
        let mut covariance = Covariance::zeros();
        let factor = &self.uncertainty.lower_factor;
        // The anisotropy's row comes after the builds', which predictions do not need.
        let mut rows: Vec<&[f64]> = factor.iter().take(2 * BANDS).map(Vec::as_slice).collect();
        rows.push(&self.uncertainty.anisotropy_row);
        for (i, row) in rows.iter().enumerate() {
            for (j, other) in rows.iter().enumerate() {
                covariance[(i, j)] = row.iter().zip(*other).map(|(p, q)| p * q).sum();
            }
        }
        Ok(Constants {
            anisotropy: self.basis.transport.anisotropy,
            absorption: std::array::from_fn(|b| self.absorption[b]),
            scattering: std::array::from_fn(|b| self.scattering[b]),
            covariance,
        })
    }

    /// Whether two records tell of one and the same scan: their cells are the same numbers, or nearly so under one file's name, as when
    /// a scan was read twice and an edge moved. They are then no two readings of a tube.
    pub fn is_of_one_scan_with(&self, other: &Self) -> bool {
        let places = |record: &Self| -> Vec<(usize, Ground)> {
            record
                .cells
                .iter()
                .map(|cell| (cell.film, cell.ground))
                .collect()
        };
        if self.cells.is_empty() || places(self) != places(other) {
            return false;
        }
        let file = |record: &Self| {
            let of = &record.provenance;
            (of.file_name.clone(), of.size, of.card_number)
        };
        let one_file = !self.provenance.file_name.is_empty() && file(self) == file(other);
        let lab = |cell: &Cell| {
            let [x, y, z] = cell.xyz;
            colour::lab(colour::Xyz::new(x, y, z))
        };
        self.cells.iter().zip(&other.cells).all(|(a, b)| {
            a.xyz == b.xyz || one_file && colour::difference(lab(a), lab(b)) < ONE_SCAN
        })
    }

    /// Build of the thickest film on the card.
    pub fn thickest(&self) -> f64 {
        self.films.iter().map(|f| f.build).fold(0.0, f64::max)
    }

    /// Whether the films, called glossy, read as dull.
    pub fn reads_dull(&self) -> bool {
        self.findings.iter().any(|finding| finding.code == "dull")
    }

    /// Everything that types alone do not say.
    fn check(&self) -> Result<()> {
        let bands = |field: &str, values: &[f64], most: f64| -> Result<()> {
            if values.len() != BANDS {
                return Err(refused(
                    field,
                    format!("has {} numbers, not {BANDS}", values.len()),
                ));
            }
            match values
                .iter()
                .position(|v| !v.is_finite() || *v <= 0.0 || *v > most)
            {
                Some(i) => Err(refused(
                    format!("{field}[{i}]"),
                    format!("is not between 0 and {most}"),
                )),
                None => Ok(()),
            }
        };
        let within = |field: String, value: f64, low: f64, high: f64| -> Result<()> {
            if value.is_finite() && (low..=high).contains(&value) {
                Ok(())
            } else {
                Err(refused(field, format!("is not between {low} and {high}")))
            }
        };
        self.paint.check()?;
        if self.basis.wavelengths_nm != spectrum::wavelengths() {
            return Err(refused(
                "basis.wavelengths_nm",
                "is not 400 to 700 nm every 10 nm",
            ));
        }
        for (field, value, expected) in [
            ("film_unit", &self.basis.film_unit, FILM_UNIT),
            ("illuminant", &self.basis.illuminant, "D50"),
            ("observer", &self.basis.observer, "CIE 1931 2 degree"),
        ] {
            if value != expected {
                return Err(refused(
                    format!("basis.{field}"),
                    format!("is not \"{expected}\""),
                ));
            }
        }
        within(
            "basis.surface.index".into(),
            self.basis.surface.index,
            1.0,
            3.0,
        )?;
        within(
            "basis.surface.entry".into(),
            self.basis.surface.entry,
            0.0,
            1.0,
        )?;
        within(
            "basis.surface.inner".into(),
            self.basis.surface.inner,
            0.0,
            1.0,
        )?;
        within(
            "basis.transport.anisotropy".into(),
            self.basis.transport.anisotropy,
            table::EVEN,
            table::MOST_FORWARD,
        )?;
        for value in self.basis.channels_to_xyz.iter().flatten().flatten() {
            within("basis.channels_to_xyz".into(), *value, -10.0, 10.0)?;
        }
        if self.films.is_empty() || self.films.len() > MOST_ENTRIES {
            return Err(refused(
                "films",
                format!("has {} entries, not 1 to {MOST_ENTRIES}", self.films.len()),
            ));
        }
        if self.reference_film >= self.films.len() {
            return Err(refused("reference_film", "is not one of the films"));
        }
        for (i, film) in self.films.iter().enumerate() {
            within(format!("films[{i}].build"), film.build, 1e-6, 1e6)?;
            within(format!("films[{i}].build_sd"), film.build_sd, 0.0, 1e6)?;
        }
        for (field, xyz) in [
            ("white_xyz", self.stripes.white_xyz),
            ("black_xyz", self.stripes.black_xyz),
        ] {
            for value in xyz {
                within(format!("stripes.{field}"), value, -0.1, 4.0)?;
            }
        }
        bands("stripes.white_spectrum", &self.stripes.white_spectrum, 4.0)?;
        bands("stripes.black_spectrum", &self.stripes.black_spectrum, 4.0)?;
        for (i, cell) in self.cells.iter().enumerate() {
            if cell.film >= self.films.len() {
                return Err(refused(
                    format!("cells[{i}].film"),
                    "is not one of the films",
                ));
            }
            for value in cell.xyz.iter().chain(&cell.fitted_xyz) {
                within(format!("cells[{i}].xyz"), *value, -1.0, 10.0)?;
            }
            let of_channels = cell.clipped_channels.iter().flatten().flatten();
            for value in cell
                .sd
                .iter()
                .chain(cell.scatter.iter().flatten())
                .chain(of_channels)
            {
                within(format!("cells[{i}].sd"), *value, 0.0, 10.0)?;
            }
        }
        for (field, value, least) in [
            ("milk_on_black", self.opacity.milk_on_black, -MOST_MILK),
            ("milk_sd", self.opacity.milk_sd, 0.0),
        ] {
            if let Some(value) = value {
                within(format!("opacity.{field}"), value, least, MOST_MILK)?;
            }
        }
        if self.cells.len() > 2 * MOST_ENTRIES {
            return Err(refused("cells", "has too many entries"));
        }
        if let Some(weight) = self.film_weight {
            let [least, most] = FILM_WEIGHT;
            within("film_weight".into(), weight, least, most)?;
        }
        if self.coats.len() > MOST_ENTRIES {
            return Err(refused("coats", "has too many entries"));
        }
        for (i, scrap) in self.coats.iter().enumerate() {
            let at = format!("coats[{i}]");
            for (field, text) in [("way", &scrap.way), ("from", &scrap.from)] {
                if text.chars().count() > LONGEST_TEXT {
                    return Err(refused(format!("{at}.{field}"), "is too long. Shorten it"));
                }
            }
            within(format!("{at}.coats"), scrap.coats, 1e-4, 100.0)?;
            if scrap.film.is_some_and(|film| film >= self.films.len()) {
                return Err(refused(format!("{at}.film"), "is not one of the films"));
            }
            for colour in scrap.over.iter().chain(&scrap.painted) {
                for value in colour.lab {
                    within(format!("{at}.lab"), value, -150.0, 150.0)?;
                }
                for sd in colour.lab_sd {
                    within(format!("{at}.lab_sd"), sd, 0.0, 50.0)?;
                }
            }
        }
        if self.tints.len() > MOST_ENTRIES {
            return Err(refused("tints", "has too many entries"));
        }
        for (i, tint) in self.tints.iter().enumerate() {
            let at = format!("tints[{i}]");
            for (field, text) in [
                ("with.name", &tint.with.name),
                ("with.maker", &tint.with.maker),
                ("with.binder", &tint.with.binder),
                ("with.batch", &tint.with.batch),
                ("from", &tint.from),
            ] {
                if text.chars().count() > LONGEST_TEXT {
                    return Err(refused(format!("{at}.{field}"), "is too long. Shorten it"));
                }
            }
            let [least, most] = TINT_PARTS;
            within(format!("{at}.parts"), tint.parts, least, most)?;
            within(format!("{at}.with_parts"), tint.with_parts, least, most)?;
            for value in tint.colour.lab {
                within(format!("{at}.colour.lab"), value, -150.0, 150.0)?;
            }
            for sd in tint.colour.lab_sd {
                within(format!("{at}.colour.lab_sd"), sd, 0.0, 50.0)?;
            }
        }
        if self.state == State::NotModelled
            && self.absorption.is_empty()
            && self.scattering.is_empty()
        {
            return Ok(());
        }
        bands("absorption", &self.absorption, 1e6)?;
        bands("scattering", &self.scattering, 1e6)?;
        let rows = 2 * BANDS + self.films.len();
        let factor = &self.uncertainty.lower_factor;
        if factor.len() != rows {
            return Err(refused(
                "uncertainty.lower_factor",
                format!(
                    "has {} rows, not {rows} (31 for log K, 31 for log S, one a film)",
                    factor.len()
                ),
            ));
        }
        for (i, row) in factor.iter().enumerate() {
            if row.len() != i + 1 || row.iter().any(|v| !v.is_finite() || v.abs() > 1e3) {
                return Err(refused(
                    format!("uncertainty.lower_factor[{i}]"),
                    format!("is not {} numbers between -1000 and 1000", i + 1),
                ));
            }
        }
        let row = &self.uncertainty.anisotropy_row;
        let whole = row.is_empty() || row.len() == rows + 1;
        if !whole || row.iter().any(|v| !v.is_finite() || v.abs() > 1e3) {
            return Err(refused(
                "uncertainty.anisotropy_row",
                format!("is not {} numbers between -1000 and 1000", rows + 1),
            ));
        }
        Ok(())
    }
}

impl Label {
    /// The name, or a word for a tube without one.
    pub fn name_or_unnamed(&self) -> &str {
        if self.name.trim().is_empty() {
            "This paint"
        } else {
            self.name.trim()
        }
    }

    /// Checks lengths.
    ///
    /// # Errors
    /// [`Error::PigmentFile`] naming the text that is too long.
    pub fn check(&self) -> Result<()> {
        let texts = [
            ("name", &self.name),
            ("maker", &self.maker),
            ("binder", &self.binder),
            ("batch", &self.batch),
            ("drawn_on", &self.drawn_on),
            ("lightfastness", &self.lightfastness),
            ("notes", &self.notes),
        ];
        let long = texts
            .into_iter()
            .chain(self.colour_index.iter().map(|c| ("colour_index", c)));
        for (field, text) in long {
            if text.chars().count() > LONGEST_TEXT {
                return Err(Error::PigmentFile {
                    field: format!("paint.{field}"),
                    reason: format!("is longer than {LONGEST_TEXT} characters. Shorten it"),
                });
            }
        }
        if self.colour_index.len() > MOST_ENTRIES {
            return Err(Error::PigmentFile {
                field: "paint.colour_index".into(),
                reason: format!("has more than {MOST_ENTRIES} names. Take some away"),
            });
        }
        Ok(())
    }
}

/// Refuses lists where the format has objects: serde would read them, field after field.
fn objects_as_lists(original: &Value, known: &Value, path: &str) -> Result<()> {
    match (original, known) {
        (Value::Array(_), Value::Object(_)) => Err(refused(path, "is a list, not an object")),
        (Value::Object(original), Value::Object(known)) => {
            known.iter().try_for_each(|(key, known)| {
                let path = if path.is_empty() {
                    key.clone()
                } else {
                    format!("{path}.{key}")
                };
                original
                    .get(key)
                    .map_or(Ok(()), |original| objects_as_lists(original, known, &path))
            })
        }
        (Value::Array(original), Value::Array(known)) => original
            .iter()
            .zip(known)
            .enumerate()
            .try_for_each(|(i, (original, known))| {
                objects_as_lists(original, known, &format!("{path}[{i}]"))
            }),
        _ => Ok(()),
    }
}

/// What `original` has and `known` does not, objects inside objects too.
fn unknown_fields(original: Map<String, Value>, known: &Map<String, Value>) -> Map<String, Value> {
    original
        .into_iter()
        .filter_map(|(key, value)| match (value, known.get(&key)) {
            (value, None) => Some((key, value)),
            (Value::Object(inner), Some(Value::Object(known))) => {
                let inner = unknown_fields(inner, known);
                (!inner.is_empty()).then_some((key, Value::Object(inner)))
            }
            _ => None,
        })
        .collect()
}

/// Adds `more` to `fields`, objects inside objects too; what is there stays.
fn merge(fields: &mut Map<String, Value>, more: &Map<String, Value>) {
    for (key, value) in more {
        match (fields.get_mut(key), value) {
            (Some(Value::Object(inner)), Value::Object(value)) => merge(inner, value),
            (Some(_), _) => {}
            (None, _) => {
                fields.insert(key.clone(), value.clone());
            }
        }
    }
}
