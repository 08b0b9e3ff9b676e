//! The pigment file: one paint as JSON. README.md documents it; `tests/data/pigment.schema.json` is its schema.

use serde::{Deserialize, Serialize};

use crate::card::Ground;

/// Value of [`Record::format`].
pub const FORMAT: &str = "twoground-pigment";
/// Version that this program writes.
pub const VERSION: u32 = 1;

/// Everything known of one paint from one card. Field names are the file's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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
    /// What the card could tell.
    pub state: State,
    /// Clear or milky, in numbers.
    pub opacity: Opacity,
    /// What was noticed while reading.
    pub findings: Vec<Finding>,
    /// Where it came from.
    pub provenance: Provenance,
    /// Fields of newer programs, kept as they are.
    #[serde(flatten)]
    pub unknown: serde_json::Map<String, serde_json::Value>,
}

/// Label data. Every field is text as typed.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
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

/// What the numbers are relative to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Basis {
    /// Band centres.
    pub wavelengths_nm: Vec<f64>,
    /// Unit of film build.
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
}

/// Constants of the smooth paint-to-air surface.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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
pub struct Transport {
    /// Scattering anisotropy g.
    pub anisotropy: f64,
    /// Quadrature directions.
    pub directions: usize,
}

/// Covariance of the constants.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Uncertainty {
    /// Lower Cholesky factor of the covariance of log K (31), log S (31), log builds (films), row by row, without the zeros above the diagonal.
    pub lower_factor: Vec<Vec<f64>>,
    /// Standard deviation of log K by band.
    pub log_absorption_sd: Vec<f64>,
    /// Standard deviation of log S by band.
    pub log_scattering_sd: Vec<f64>,
}

/// The bare stripes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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
pub struct Film {
    /// Build in units of the reference film.
    pub build: f64,
    /// Its standard deviation.
    pub build_sd: f64,
}

/// One film over one ground, crossings pooled.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cell {
    /// Index into `films`.
    pub film: usize,
    /// Over white or black.
    pub ground: Ground,
    /// Measured.
    pub xyz: [f64; 3],
    /// Standard deviations of `xyz`.
    pub sd: [f64; 3],
    /// What the constants give.
    pub fitted_xyz: [f64; 3],
    /// CIEDE2000 between the two.
    pub de00: f64,
    /// Pixels averaged.
    pub pixels: u64,
    /// Share of the cell left out as dust, hair, bubbles or ridges, 0 to 1.
    pub rejected_share: f64,
    /// Share of pixels with a channel at its end, 0 to 1.
    pub clipped_share: f64,
}

/// Gloss of the card when scanned.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
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

/// Whether the card was dry, as the user said: `"yes"`, `"no"`, or a day it has been dry since.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Dry(pub String);

/// What the card could tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
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
pub struct Opacity {
    /// Rise of the black in L* at glaze depth; absent when the paint cannot fall that far.
    pub milk_on_black: Option<f64>,
    /// Its standard deviation.
    pub milk_sd: Option<f64>,
    /// The grade in words.
    pub grade: Option<Grade>,
    /// Y over black / Y over white, per film.
    pub contrast_ratio: Vec<f64>,
    /// Build at contrast ratio 0.98; absent when beyond three times the thickest film... see README.
    pub hiding_build: Option<f64>,
    /// Lab of a film too thick to see through.
    pub masstone_lab: Option<[f64; 3]>,
    /// Lab of the thinnest film over the white stripe.
    pub undertone_lab: Option<[f64; 3]>,
}

/// The five grades; bounds are the project's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
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
pub struct Finding {
    /// Stable word for programs.
    pub code: String,
    /// A sentence for the painter, with what to do.
    pub words: String,
}

/// Where a record came from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Provenance {
    /// File name without folders.
    pub file_name: String,
    /// Pixels across and down of the upright scan.
    pub size: [usize; 2],
    /// Bits a channel.
    pub depth: u8,
    /// Profile description.
    pub profile: String,
    /// When it was read, ISO 8601, or empty where no clock is at hand.
    pub when: String,
    /// Program version.
    pub program: String,
}
