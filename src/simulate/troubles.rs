//! One trouble at a time: plain cards of every kind, each spoilt in one way at one strength.

use super::{
    paints,
    random::Random,
    scene::{Edges, File, FileKind, Film, Page, Scanner, Scene},
    sensor::Kind,
    space::Space,
    trials,
};
use crate::spectrum::{BANDS, wavelengths};

/// A trouble and how strong it is.
#[derive(Debug, Clone, Copy)]
pub struct Trouble {
    /// What it is, with its strength.
    pub name: &'static str,
    spoil: fn(&mut Scene, &mut Random),
}

impl Trouble {
    /// Card number `seed` at `dpi` with this trouble and no other.
    pub fn scene(&self, seed: u64, dpi: f64) -> Scene {
        let mut scene = plain(seed, dpi);
        (self.spoil)(&mut scene, &mut Random::of(seed, self.name));
        scene
    }
}

/// A random card of a random paint as a careful painter draws it, on a good scanner. Its films run from thin to thick.
pub fn plain(seed: u64, dpi: f64) -> Scene {
    let thinnest = Random::of(seed, "plain").between(0.35, 0.55);
    let mut scene = trials::one_card(seed, dpi, |card| {
        let width = card.width();
        for (i, film) in card.films.iter_mut().enumerate() {
            *film = Film {
                edges: Edges::Knife { bead: 0.3 },
                ragged_end: 0.3,
                streaks: 0.02,
                ..Film::even(
                    thinnest * libm::pow(1.9, i as f64),
                    film.from,
                    film.to,
                    width,
                )
            };
        }
        card.waviness = 0.05;
        card.smear = 0.0;
        card.haze = 0.0;
        card.marks.clear();
        card.shadow = 0.2;
    });
    scene.scanner = Scanner {
        blur: 0.6,
        dark_noise: 0.001,
        light_noise: 0.003,
        ..Scanner::ideal()
    };
    scene.file = File {
        space: Space::Romm,
        tagged: true,
        kind: FileKind::Png16,
        dpi: Some(dpi),
    };
    scene.page = Page {
        lid: [0.82; BANDS],
        perspective: [[0.0; 2]; 4],
        dust: 0.0,
        hairs: 0,
        ..scene.page
    };
    scene
}

fn films(scene: &mut Scene, change: impl Fn(&mut Film)) {
    scene
        .cards
        .iter_mut()
        .flat_map(|card| &mut card.films)
        .for_each(change);
}

fn cards(scene: &mut Scene, change: impl Fn(&mut super::scene::Card)) {
    scene.cards.iter_mut().for_each(change);
}

fn towards_the_middle(random: &mut Random, most: f64) -> [[f64; 2]; 4] {
    [[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]]
        .map(|towards| towards.map(|t: f64| t * random.between(0.0, most)))
}

/// All troubles, each at one strength or more.
pub const ALL: &[Trouble] = &[
    Trouble {
        name: "none",
        spoil: |_, _| {},
    },
    Trouble {
        name: "lamp, glare 10 %, streaks 8 %, JPEG 90",
        spoil: |s, _| {
            s.scanner.sensor = Kind::Lamp;
            s.scanner.glare = 0.1;
            films(s, |f| f.streaks = 0.08);
            s.file.kind = FileKind::Jpeg(90);
            s.file.space = Space::Srgb;
        },
    },
    Trouble {
        name: "sensor: lamp",
        spoil: |s, _| s.scanner.sensor = Kind::Lamp,
    },
    Trouble {
        name: "sensor: white LED",
        spoil: |s, _| s.scanner.sensor = Kind::WhiteLed,
    },
    Trouble {
        name: "sensor: three LEDs",
        spoil: |s, _| s.scanner.sensor = Kind::ThreeLeds,
    },
    Trouble {
        name: "sRGB, 8 bit",
        spoil: |s, _| {
            s.file.space = Space::Srgb;
            s.file.kind = FileKind::Png8;
        },
    },
    Trouble {
        name: "JPEG 90",
        spoil: |s, _| s.file.kind = FileKind::Jpeg(90),
    },
    Trouble {
        name: "JPEG 60",
        spoil: |s, _| s.file.kind = FileKind::Jpeg(60),
    },
    Trouble {
        name: "glare 10 %",
        spoil: |s, _| s.scanner.glare = 0.1,
    },
    Trouble {
        name: "glare 20 %",
        spoil: |s, _| s.scanner.glare = 0.2,
    },
    Trouble {
        name: "shading 3 %",
        spoil: |s, _| s.scanner.shading = [0.02, -0.025],
    },
    Trouble {
        name: "shading 10 %",
        spoil: |s, _| s.scanner.shading = [0.07, -0.08],
    },
    Trouble {
        name: "streaks 8 %",
        spoil: |s, _| films(s, |f| f.streaks = 0.08),
    },
    Trouble {
        name: "streaks 20 %",
        spoil: |s, _| films(s, |f| f.streaks = 0.2),
    },
    Trouble {
        name: "thinning along 20 %, blotches 6 %",
        spoil: |s, _| {
            films(s, |f| {
                f.along = 0.2;
                f.blotches = 0.06;
            });
        },
    },
    Trouble {
        name: "brushed, ragged, slanted",
        spoil: |s, _| {
            films(s, |f| {
                f.edges = Edges::Brushed { ragged: 0.4 };
                f.ragged_end = 1.5;
                f.slant = 0.03;
            });
        },
    },
    Trouble {
        name: "tape ridges",
        spoil: |s, _| films(s, |f| f.edges = Edges::Taped { ridge: 1.0 }),
    },
    Trouble {
        name: "bubbles, 3 a square cm",
        spoil: |s, _| films(s, |f| f.bubbles = 3.0),
    },
    Trouble {
        name: "dust, 30 a square dm",
        spoil: |s, _| s.page.dust = 30.0,
    },
    Trouble {
        name: "dust, 150 a square dm, and 8 hairs",
        spoil: |s, _| {
            s.page.dust = 150.0;
            s.page.hairs = 8;
        },
    },
    Trouble {
        name: "sharpening",
        spoil: |s, _| s.scanner.sharpening = 0.6,
    },
    Trouble {
        name: "sharpening, strong",
        spoil: |s, _| s.scanner.sharpening = 1.5,
    },
    Trouble {
        name: "blur, 2 pixels",
        spoil: |s, _| s.scanner.blur = 2.0,
    },
    Trouble {
        name: "noise",
        spoil: |s, _| {
            s.scanner.dark_noise = 0.004;
            s.scanner.light_noise = 0.012;
        },
    },
    Trouble {
        name: "zero 0.005 too high",
        spoil: |s, _| s.scanner.offset = 0.005,
    },
    Trouble {
        name: "zero 0.005 too low",
        spoil: |s, _| s.scanner.offset = -0.005,
    },
    Trouble {
        name: "exposure 10 % low",
        spoil: |s, _| s.scanner.exposure = 0.9,
    },
    Trouble {
        name: "lights clipped",
        spoil: |s, _| s.scanner.exposure = 1.35,
    },
    Trouble {
        name: "darks clipped",
        spoil: |s, _| s.scanner.offset = -0.05,
    },
    Trouble {
        name: "automatic contrast, half",
        spoil: |s, _| s.scanner.stretch = 0.5,
    },
    Trouble {
        name: "automatic contrast",
        spoil: |s, _| s.scanner.stretch = 1.0,
    },
    Trouble {
        name: "phone: perspective 3 %, shading 10 %",
        spoil: |s, r| {
            s.page.perspective = towards_the_middle(r, 0.03);
            s.scanner.shading = [0.08, 0.06];
            s.file.dpi = Some(72.0);
        },
    },
    Trouble {
        name: "phone: perspective 6 %",
        spoil: |s, r| {
            s.page.perspective = towards_the_middle(r, 0.06);
            s.file.dpi = None;
        },
    },
    Trouble {
        name: "local tone mapping, weak",
        spoil: |s, _| s.scanner.tone = 0.15,
    },
    Trouble {
        name: "local tone mapping",
        spoil: |s, _| s.scanner.tone = 0.5,
    },
    Trouble {
        name: "dull surface 0.01",
        spoil: |s, _| cards(s, |c| c.haze = 0.01),
    },
    Trouble {
        name: "dull surface 0.03",
        spoil: |s, _| cards(s, |c| c.haze = 0.03),
    },
    Trouble {
        name: "ink smeared 10 %",
        spoil: |s, _| cards(s, |c| c.smear = 0.1),
    },
    Trouble {
        name: "ink smeared 40 %",
        spoil: |s, _| cards(s, |c| c.smear = 0.4),
    },
    Trouble {
        name: "black 0.11",
        spoil: |s, _| cards(s, |c| c.black = [0.11; BANDS]),
    },
    Trouble {
        name: "white brightened",
        spoil: |s, _| {
            cards(s, |c| {
                c.white = wavelengths().map(|nm| {
                    let x = (nm - 440.0) / 22.0;
                    0.82 + 0.2 * libm::exp(-0.5 * x * x)
                });
            });
        },
    },
    Trouble {
        name: "white yellowed",
        spoil: |s, _| {
            cards(s, |c| {
                c.white =
                    wavelengths().map(|nm| 0.82 - 0.2 / (1.0 + libm::exp((nm - 480.0) / 20.0)));
            });
        },
    },
    Trouble {
        name: "under plastic",
        spoil: |s, _| cards(s, |c| c.sheet = 0.06),
    },
    Trouble {
        name: "fluorescent",
        spoil: |s, _| {
            cards(s, |c| {
                c.paint = paints::named("sharp orange").expect("a paint of the harbour studio");
                c.glow = 0.9;
            });
        },
    },
    Trouble {
        name: "one film",
        spoil: |s, _| s.cards[0].films.truncate(1),
    },
    Trouble {
        name: "films alike",
        spoil: |s, _| films(s, |f| f.build = 1.0),
    },
    Trouble {
        name: "thin films: a tenth",
        spoil: |s, _| films(s, |f| f.build *= 0.1),
    },
    Trouble {
        name: "thick films: five times",
        spoil: |s, _| films(s, |f| f.build *= 5.0),
    },
    Trouble {
        name: "black lid",
        spoil: |s, _| s.page.lid = [0.04; BANDS],
    },
    Trouble {
        name: "stripes run off onto a black lid",
        spoil: |s, _| {
            s.page.lid = [0.04; BANDS];
            s.cards[0].margins = [0.0; 4];
        },
    },
    Trouble {
        name: "no resolution tag",
        spoil: |s, _| s.file.dpi = None,
    },
    Trouble {
        name: "resolution tag twice too high",
        spoil: |s, _| s.file.dpi = Some(2.0 * s.page.dpi),
    },
    Trouble {
        name: "100 dpi",
        spoil: |s, _| {
            s.page.dpi = 100.0;
            s.file.dpi = Some(100.0);
        },
    },
    Trouble {
        name: "300 dpi",
        spoil: |s, _| {
            s.page.dpi = 300.0;
            s.file.dpi = Some(300.0);
        },
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trouble_changes_one_thing() {
        let glare = ALL.iter().find(|t| t.name == "glare 20 %").unwrap();
        let (plain, spoilt) = (plain(4, 100.0), glare.scene(4, 100.0));
        assert_eq!(spoilt.scanner.glare, 0.2);
        assert_eq!(plain.scanner.glare, 0.0);
        assert_eq!(plain.cards[0].films, spoilt.cards[0].films);
    }

    #[test]
    fn every_trouble_has_its_own_name() {
        let names: std::collections::BTreeSet<_> = ALL.iter().map(|t| t.name).collect();
        assert_eq!(names.len(), ALL.len());
    }
}
