//! Every tube over every colour of the picture, at equal depth.

use serde::Serialize;

use super::{OpenPicture, view::Spot};
use crate::{
    Result,
    paint::verdict,
    picture::{Ground, depth},
};

/// All tubes at equal depth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TubesView {
    /// Names of the picture's colours.
    pub names: Vec<String>,
    /// One row a tube, in the order of the shelf.
    pub rows: Vec<TubeRow>,
}

/// One tube over every colour.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TubeRow {
    /// Key of the tube.
    pub key: String,
    /// Its name.
    pub name: String,
    /// Its verdict in two or three words.
    pub short: String,
    /// The drawn strip of several readings' mean; empty for a tube that was read once.
    pub strip: String,
    /// Milk on black, L*.
    pub milk: Option<f64>,
    /// That with its range, in words; empty where there is none.
    pub milk_words: String,
    /// The film that is shown as one coat, in units of the card's own.
    pub build: f64,
    /// Whether that film has the common depth; whites and hazes never have.
    pub reached: bool,
    /// Mean change of L* over the picture's colours, one coat.
    pub lightness: f64,
    /// Hue of the tube's undertone in degrees, from red over yellow, green and blue.
    pub hue: f64,
    /// Lightfastness as on the label.
    pub lightfastness: String,
    /// What is seen over every colour, for one, two, three coats.
    pub coats: Vec<Vec<Spot>>,
}

/// Coats that are shown.
const COATS: usize = 3;

impl OpenPicture {
    /// All tubes over all colours.
    ///
    /// # Errors
    /// Where a film cannot be predicted.
    pub fn tubes(&mut self) -> Result<TubesView> {
        self.ground_all();
        let grounds: Vec<Ground> = self
            .grounds
            .iter()
            .map(|(_, ground)| ground.clone())
            .collect();
        let rows = self
            .to_choose()
            .map(|(_, tube)| {
                let seen = depth::over_all(&tube.constants, tube.depth, COATS, &grounds)?;
                let opacity = &tube.shown.opacity;
                let mean = seen[0]
                    .iter()
                    .zip(&grounds)
                    .map(|(seen, ground)| seen.lab.l - ground.lab.l)
                    .sum::<f64>()
                    / grounds.len().max(1) as f64;
                let undertone = opacity.undertone_lab.unwrap_or([0.0; 3]);
                Ok(TubeRow {
                    key: tube.key.clone(),
                    name: tube.name().to_owned(),
                    short: crate::page::paint::short_verdict(&tube.shown),
                    strip: if tube.readings.len() > 1 {
                        crate::page::paint::strip_small(&tube.shown)
                    } else {
                        String::new()
                    },
                    milk: opacity.milk_on_black,
                    milk_words: opacity
                        .milk_on_black
                        .zip(opacity.milk_sd)
                        .map_or_else(String::new, |(milk, sd)| verdict::milk_words(milk, sd)),
                    build: tube.depth.build,
                    reached: tube.depth.reached,
                    lightness: mean,
                    hue: libm::atan2(undertone[2], undertone[1])
                        .to_degrees()
                        .rem_euclid(360.0),
                    lightfastness: tube.record.paint.lightfastness.clone(),
                    coats: seen
                        .into_iter()
                        .map(|row| row.into_iter().map(Spot::from).collect())
                        .collect(),
                })
            })
            .collect::<Result<_>>()?;
        Ok(TubesView {
            names: self.plan.colours.iter().map(|c| c.name.clone()).collect(),
            rows,
        })
    }
}
