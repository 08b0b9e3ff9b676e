//! A scan or photo to pick colours from.

use image::RgbImage;
use nalgebra::Matrix3;
use serde::Serialize;

use crate::{
    Error, Result, colour,
    fit::uncertainty,
    page::{Tone, difference_word},
    picture::pick,
    scan::{Scan, decode},
};

/// Most pixels across or down that are shown.
const SHOWN: f64 = 900.0;

/// An open scan or photo.
pub struct PickFrom {
    scan: Scan,
    /// Pixels of the file in one that is shown.
    scale: f64,
}

/// A colour under the cross.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PickView {
    /// The colour.
    #[serde(flatten)]
    pub tone: Tone,
    /// Standard deviations of L*, a*, b*.
    pub lab_sd: [f64; 3],
    /// Nine times in ten the colour lies within this CIEDE2000.
    pub range: f64,
    /// That in words.
    pub word: &'static str,
    /// Pixels averaged.
    pub pixels: u64,
    /// What spoils it, in a sentence; empty where nothing does.
    pub trouble: String,
    /// File name.
    pub file: String,
    /// Its profile.
    pub profile: String,
}

impl PickFrom {
    /// Decodes a picture.
    ///
    /// # Errors
    /// As [`decode::decode`].
    pub fn new(bytes: &[u8], file_name: &str) -> Result<Self> {
        let scan = decode::decode(bytes, file_name)?;
        let scale = (scan.width.max(scan.height) as f64 / SHOWN).max(1.0);
        Ok(Self { scan, scale })
    }

    /// The picture for the screen; colours are never taken from it.
    pub fn picture(&self) -> RgbImage {
        let size = |n: usize| ((n as f64 / self.scale).round() as u32).max(1);
        let steps = (self.scale.round() as usize).clamp(1, 3);
        RgbImage::from_fn(size(self.scan.width), size(self.scan.height), |x, y| {
            let mut sum = [0.0; 3];
            for i in 0..steps * steps {
                let at = |v: u32, k: usize, n: usize| {
                    let inside = (f64::from(v) + (k as f64 + 0.5) / steps as f64) * self.scale;
                    (inside as usize).min(n - 1)
                };
                let code = self.scan.code(
                    at(x, i % steps, self.scan.width),
                    at(y, i / steps, self.scan.height),
                );
                let value = self.scan.profile.additive_of(code);
                (0..3).for_each(|c| sum[c] += value[c]);
            }
            let mean = sum.map(|v| v / (steps * steps) as f64);
            image::Rgb(colour::screen(colour::lab(self.scan.profile.xyz(mean))).rgb)
        })
    }

    /// The colour around a place of the shown picture.
    ///
    /// # Errors
    /// [`Error::Refused`] beside the picture.
    pub fn spot(&self, [x, y]: [f64; 2], radius: f64, photo: bool) -> Result<PickView> {
        let at = [x * self.scale, y * self.scale];
        let radius = (radius * self.scale).max(0.71);
        let spot = pick::spot(&self.scan, at, radius, photo)
            .ok_or_else(|| Error::Refused("Pick a place inside the picture.".to_owned()))?;
        let spread = Matrix3::from_diagonal(&spot.lab_sd.map(|sd| sd * sd).into());
        let range = uncertainty::range(spot.lab, &spread);
        let origin = &self.scan.origin;
        let mut trouble = Vec::new();
        if spot.clipped > 0.02 {
            trouble.push(
                "Part of this spot is as light or dark as the file can hold: its colour is cut.",
            );
        }
        if origin.profile_assumed {
            trouble.push("The file has no colour profile; sRGB is assumed, so the range is wider.");
        }
        if photo {
            trouble.push("A photo’s colours are made to please, so the range is wider.");
        }
        Ok(PickView {
            tone: spot.lab.into(),
            lab_sd: spot.lab_sd,
            range,
            word: difference_word(range),
            pixels: spot.pixels,
            trouble: trouble.join(" "),
            file: origin.file_name.clone(),
            profile: origin.profile.clone(),
        })
    }
}

#[cfg(test)]
mod tests {
    use std::{fs, path::Path};

    use super::*;

    /// The same place of a sample scan, small on the screen and at full depth, is the same colour within what the screen's
    /// own steps allow.
    #[test]
    fn what_is_picked_is_what_is_shown() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
        let bytes = fs::read(folder.join("lantern-gold.tif")).unwrap();
        let from = PickFrom::new(&bytes, "lantern-gold.tif").unwrap();
        let shown = from.picture();
        let (x, y) = (shown.width() / 2, shown.height() / 2);
        let spot = from
            .spot([f64::from(x) + 0.5, f64::from(y) + 0.5], 0.5, false)
            .unwrap();
        let screen = colour::of_screen(shown.get_pixel(x, y).0);
        let [l, a, b] = spot.tone.lab;
        // Only where the screen can show it is there anything to compare.
        assert!(spot.tone.cut || colour::difference(screen, colour::Lab::new(l, a, b)) < 6.0);
        assert!(spot.range > 1.0);
        let photo = from.spot([f64::from(x), f64::from(y)], 3.0, true).unwrap();
        assert!(photo.range > 4.0 && photo.trouble.contains("photo"));
        assert!(from.spot([-50.0, 0.0], 3.0, false).is_err());
        assert!(PickFrom::new(b"no picture", "x").is_err());
    }
}
