//! Two Grounds: what a painter's own tubes do in thin films, from a scan of a home-made drawdown card.
//!
//! Data flows one way, and every module knows only those before it:
//!
//! 1. [`scan`]: bytes of a PNG, JPEG or TIFF -> an upright picture at full depth with its colour profile.
//! 2. [`card`]: the picture -> where card, stripes and films lie -> cells: XYZ of every film over white and black.
//! 3. [`fit`]: cells -> absorption K and scattering S on 31 bands, film builds, and their covariance.
//! 4. [`paint`]: constants -> verdict (clear, milky, covering), the record that is kept, the pigment file.
//! 5. [`picture`]: a kept paint over any underpainting -> Lab and a 90 % range.
//! 6. [`glass`]: the same over every pixel of a photo or scan of the painting.
//!
//! [`reading`] runs 1 to 4 in one call, for the page and for the command alike.
//!
//! [`shelf`] says how kept paints and pictures change, are undone, copied out and merged.
//!
//! Under them lie [`spectrum`] and [`colour`] (bands, CIE tables, XYZ, Lab, CIEDE2000) and [`film`] (the optics of
//! paint films). [`chart`] draws results as SVG, [`page`] puts them in words for the page. Only `web` knows a browser; only the program in
//! `src/bin/twoground` knows files and sockets. [`simulate`] paints invented cards for samples, tests and benches.
//!
//! Units: wavelengths in nm; reflectances and XYZ relative to a perfect diffuser (1 = all light), illuminant D50,
//! CIE 1931 2 degree observer (the ICC connection space); K and S in two-flux units per unit build, where one build is
//! the reference film of that paint's own card; lengths on a card in mm where the scan's resolution is known.

pub mod card;
pub mod chart;
pub mod colour;
pub mod error;
pub mod film;
pub mod fit;
pub mod glass;
mod json;
mod order;
pub mod page;
pub mod paint;
pub mod picture;
pub mod reading;
pub mod repeat;
pub mod scan;
pub mod shelf;
#[cfg(not(target_arch = "wasm32"))]
pub mod simulate;
pub mod spectrum;
#[cfg(target_arch = "wasm32")]
pub mod web;

pub use error::{Error, Result};
