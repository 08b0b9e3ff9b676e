//! What a reader of a simulated scan ought to find.

use serde::Serialize;

use super::{
    drawn::Drawn,
    placement::{Placement, pixels},
    render::card_seed,
    scene::{Card, Scene},
    sensor::Sensor,
    shades::{Ladder, Light, over},
};
use crate::{
    card::Ground,
    colour::{Xyz, lab},
    spectrum::{BANDS, Bands, wavelengths, xyz_of},
};

/// Everything that is known of a simulated scan. XYZ and Lab: D50, 2 degrees, 1 = perfect diffuser.
#[derive(Debug, Clone, Serialize)]
pub struct Truth {
    /// Says that nothing here was measured.
    pub note: &'static str,
    /// Pixels across and down.
    pub pixels: [usize; 2],
    /// Pixels an inch, whatever the file's tag says.
    pub dpi: f64,
    /// Light transport it was rendered with.
    pub light: Light,
    /// Band centres in nm.
    pub wavelengths_nm: Vec<f64>,
    /// The cards.
    pub cards: Vec<CardTruth>,
    /// Short words for what makes it hard.
    pub troubles: Vec<String>,
    /// The scene in full.
    pub scene: Scene,
}

/// One card. Lengths in mm of the squared card, whose top left corner is 0, 0.
#[derive(Debug, Clone, Serialize)]
pub struct CardTruth {
    /// Name of the invented paint.
    pub paint: String,
    /// K per the card's middle film.
    pub absorption: Vec<f64>,
    /// S per the card's middle film.
    pub scattering: Vec<f64>,
    /// Corners of the striped area in pixels: top left, top right, bottom right, bottom left of the squared card.
    pub corners: [[f64; 2]; 4],
    /// Width across the stripes and height along them.
    pub size: [f64; 2],
    /// Stripes from left to right.
    pub stripes: Vec<StripeTruth>,
    /// Whether the left, top, right and bottom border of the striped area can be seen at all: a white stripe beside
    /// paper of its own white has no outer edge.
    pub visible: [bool; 4],
    /// Which film has build 1: the middle one by depth, of an even number the lower middle.
    pub reference_film: usize,
    /// Films from top to bottom.
    pub films: Vec<FilmTruth>,
    /// XYZ of the bare white stripes.
    pub white_xyz: [f64; 3],
    /// XYZ of the bare black stripes.
    pub black_xyz: [f64; 3],
    /// Measured reflectance of the bare white stripes.
    pub white_spectrum: Vec<f64>,
    /// Of the black ones.
    pub black_spectrum: Vec<f64>,
    /// Films over stripes.
    pub cells: Vec<CellTruth>,
    /// Grounds that the card never saw.
    pub grounds: Vec<GroundTruth>,
    /// Single films over them.
    pub over_grounds: Vec<OverGrounds>,
}

/// One stripe.
#[derive(Debug, Clone, Serialize)]
pub struct StripeTruth {
    /// White or black.
    pub ground: Ground,
    /// Left edge.
    pub from: f64,
    /// Right edge.
    pub to: f64,
}

/// One film.
#[derive(Debug, Clone, Serialize)]
pub struct FilmTruth {
    /// Build in units of the middle film.
    pub build: f64,
    /// Upper edge at the left and right border of the striped area.
    pub top: EdgeTruth,
    /// Lower edge.
    pub bottom: EdgeTruth,
    /// CIEDE2000 between the film and the bare stripe, over white and over black: how plain it is to see.
    pub seen: [f64; 2],
}

/// One edge of a film.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct EdgeTruth {
    /// At the left border.
    pub left: f64,
    /// At the right border.
    pub right: f64,
}

/// One film over one ground.
#[derive(Debug, Clone, Serialize)]
pub struct CellTruth {
    /// Index of the film.
    pub film: usize,
    /// White or black.
    pub ground: Ground,
    /// XYZ of an even film of the film's build (a dull surface's haze included).
    pub xyz: [f64; 3],
    /// Mean XYZ of the film as drawn, uneven and streaked, well inside its edges, before the scanner saw it.
    pub drawn_xyz: [f64; 3],
}

/// A ground beneath a film.
#[derive(Debug, Clone, Serialize)]
pub struct GroundTruth {
    /// What it is.
    pub name: &'static str,
    /// Lab.
    pub lab: [f64; 3],
    /// XYZ.
    pub xyz: [f64; 3],
    /// Measured reflectance.
    pub spectrum: Vec<f64>,
}

/// One film over every ground.
#[derive(Debug, Clone, Serialize)]
pub struct OverGrounds {
    /// Build in units of the card's middle film.
    pub build: f64,
    /// Lab over each of [`CardTruth::grounds`].
    pub lab: Vec<[f64; 3]>,
}

impl Truth {
    /// The truth of a scene. `ladders` holds the films of every card.
    pub fn new(scene: &Scene, ladders: &[Ladder]) -> Self {
        Self {
            note: "Simulated: an invented paint on an invented card, rendered by a program.",
            pixels: pixels(&scene.page),
            dpi: scene.page.dpi,
            light: scene.light,
            wavelengths_nm: wavelengths().to_vec(),
            cards: (0..scene.cards.len())
                .map(|i| card(scene, i, &ladders[i]))
                .collect(),
            troubles: troubles(scene),
            scene: scene.clone(),
        }
    }

    /// As JSON with a line break at the end.
    pub fn json(&self) -> String {
        let mut text = serde_json::to_string_pretty(&self).expect("plain numbers and words");
        text.push('\n');
        compact_numbers(&text)
    }
}

/// Puts lists of plain numbers on one line each.
fn compact_numbers(pretty: &str) -> String {
    let mut out = String::with_capacity(pretty.len());
    let mut rest = pretty;
    while let Some(open) = rest.find('[') {
        let (before, list) = rest.split_at(open);
        out.push_str(before);
        let close = list[1..]
            .find(['[', ']', '{'])
            .map_or(list.len(), |i| i + 1);
        if list[close..].starts_with(']') && !list[..close].contains('"') {
            out.push_str(
                &list[..close]
                    .split_whitespace()
                    .collect::<Vec<_>>()
                    .join(" ")
                    .replace("[ ", "["),
            );
            out.push(']');
            rest = &list[close + 1..];
        } else {
            out.push('[');
            rest = &list[1..];
        }
    }
    out.push_str(rest);
    out
}

fn card(scene: &Scene, index: usize, ladder: &Ladder) -> CardTruth {
    let card = &scene.cards[index];
    let reference = middle_film(card);
    let unit = card.films.get(reference).map_or(1.0, |f| f.build);
    let (width, length) = (card.width(), card.length);
    let placement = Placement::of_card(&scene.page, card);
    let edges = card.edges();
    let paint = card.paint.thinned(unit);
    let grounds = grounds();
    CardTruth {
        paint: card.paint.name.to_owned(),
        absorption: rounded(&paint.absorption),
        scattering: rounded(&paint.scattering),
        corners: [[0.0, 0.0], [width, 0.0], [width, length], [0.0, length]]
            .map(|corner| placement.to_pixels(corner).map(|v| round(v, 3))),
        size: [width, length].map(|v| round(v, 4)),
        stripes: card
            .stripes
            .iter()
            .zip(edges.windows(2))
            .map(|(s, e)| StripeTruth {
                ground: s.ground,
                from: round(e[0], 4),
                to: round(e[1], 4),
            })
            .collect(),
        visible: visible(scene, card),
        reference_film: reference,
        films: films(scene.light, card, unit),
        white_xyz: xyz(&card.white),
        black_xyz: xyz(&card.black),
        white_spectrum: rounded(&card.white),
        black_spectrum: rounded(&card.black),
        cells: cells(scene, index, ladder),
        over_grounds: [0.5, 1.0, 2.0, 3.0]
            .map(|build| over_grounds(scene.light, card, unit, build, &grounds))
            .to_vec(),
        grounds: grounds
            .into_iter()
            .map(|(name, spectrum)| GroundTruth {
                name,
                lab: lab_of(&spectrum),
                xyz: xyz(&spectrum),
                spectrum: rounded(&spectrum),
            })
            .collect(),
    }
}

/// The film of middle build; of an even number the lower middle.
pub fn middle_film(card: &Card) -> usize {
    let mut order: Vec<usize> = (0..card.films.len()).collect();
    order.sort_by(|&i, &j| card.films[i].build.total_cmp(&card.films[j].build));
    order
        .get(card.films.len().saturating_sub(1) / 2)
        .copied()
        .unwrap_or(0)
}

fn films(light: Light, card: &Card, unit: f64) -> Vec<FilmTruth> {
    let half = 0.5 * card.width();
    card.films
        .iter()
        .map(|film| {
            let edge = |v: f64| EdgeTruth {
                left: round(v - film.slant * half, 4),
                right: round(v + film.slant * half, 4),
            };
            let response = &light.responses(&card.paint, &[film.build])[0];
            let seen = |ground: &Bands| {
                let film = over(response, ground).map(|r| r + card.haze);
                round(
                    crate::colour::difference(lab(xyz_of(&film)), lab(xyz_of(ground))),
                    3,
                )
            };
            FilmTruth {
                build: round(film.build / unit, 6),
                top: edge(film.from),
                bottom: edge(film.to),
                seen: [seen(&card.white), seen(&card.black)],
            }
        })
        .collect()
}

fn cells(scene: &Scene, index: usize, ladder: &Ladder) -> Vec<CellTruth> {
    let card = &scene.cards[index];
    let sensor = Sensor::ideal();
    let drawn = Drawn::new(card, ladder, &sensor, card_seed(scene, index));
    let mut cells = Vec::new();
    for (i, film) in card.films.iter().enumerate() {
        let response = &scene.light.responses(&card.paint, &[film.build])[0];
        for ground in [Ground::White, Ground::Black] {
            let even = over(response, card.ground(ground)).map(|r| r + card.haze);
            cells.push(CellTruth {
                film: i,
                ground,
                xyz: xyz(&even),
                drawn_xyz: sensor
                    .xyz(mean_inside(card, i, ground, &drawn))
                    .map(|v| round(v, 7)),
            });
        }
    }
    cells
}

/// Mean channels of a film over all stripes of one ground: 1.5 mm or 15 % inside the stripe, 2 mm or 20 % inside the film.
fn mean_inside(card: &Card, film: usize, ground: Ground, drawn: &Drawn) -> [f64; 3] {
    let film = &card.films[film];
    let inset = (0.2 * (film.to - film.from)).min(2.0);
    let (mut sum, mut count) = ([0.0; 3], 0.0);
    for (stripe, edge) in card
        .stripes
        .iter()
        .zip(card.edges())
        .filter(|(s, _)| s.ground == ground)
    {
        let side = (0.15 * stripe.width).min(1.5);
        for u in steps(edge + side, edge + stripe.width - side) {
            let shift = film.slant * (u - 0.5 * card.width());
            for v in steps(film.from + inset + shift, film.to - inset + shift) {
                if let Some(seen) = drawn.at(u, v) {
                    (0..3).for_each(|c| sum[c] += seen[c]);
                    count += 1.0;
                }
            }
        }
    }
    sum.map(|s| s / f64::max(count, 1.0))
}

/// Points about 0.25 mm apart, evenly inside a span.
fn steps(from: f64, to: f64) -> impl Iterator<Item = f64> + Clone {
    let n = ((to - from) / 0.25).ceil().max(1.0);
    (0..n as usize).map(move |i| from + (to - from) * (i as f64 + 0.5) / n)
}

/// Seven greys and six colours that underpaintings may have; the spectra are invented.
pub fn grounds() -> Vec<(&'static str, Bands)> {
    let of = |f: &dyn Fn(f64) -> f64| wavelengths().map(f);
    let above = |nm: f64, edge: f64, width: f64| 1.0 / (1.0 + libm::exp(-(nm - edge) / width));
    let hump = |nm: f64, centre: f64, width: f64| {
        libm::exp(-0.5 * ((nm - centre) / width) * ((nm - centre) / width))
    };
    let greys = [
        ("grey 15", 15.0),
        ("grey 30", 30.0),
        ("grey 42", 42.0),
        ("grey 54", 54.0),
        ("grey 66", 66.0),
        ("grey 78", 78.0),
        ("grey 90", 90.0),
    ];
    let grey = |lightness: f64| {
        [crate::colour::xyz(crate::colour::Lab::new(lightness, 0.0, 0.0)).y; BANDS]
    };
    let mut grounds: Vec<_> = greys.iter().map(|(name, l)| (*name, grey(*l))).collect();
    grounds.push((
        "light flesh",
        of(&|w| 0.30 + 0.42 * above(w, 575.0, 28.0) + 0.05 * hump(w, 500.0, 40.0)),
    ));
    grounds.push(("dark flesh", of(&|w| 0.10 + 0.24 * above(w, 590.0, 25.0))));
    grounds.push(("green earth", of(&|w| 0.12 + 0.14 * hump(w, 545.0, 55.0))));
    grounds.push(("ochre", of(&|w| 0.07 + 0.40 * above(w, 545.0, 22.0))));
    grounds.push(("sky", of(&|w| 0.52 - 0.27 * above(w, 560.0, 45.0))));
    grounds.push(("brick", of(&|w| 0.05 + 0.30 * above(w, 605.0, 12.0))));
    grounds
}

fn over_grounds(
    light: Light,
    card: &Card,
    unit: f64,
    build: f64,
    grounds: &[(&'static str, Bands)],
) -> OverGrounds {
    let response = &light.responses(&card.paint, &[build * unit])[0];
    OverGrounds {
        build,
        lab: grounds
            .iter()
            .map(|(_, ground)| lab_of(&over(response, ground)))
            .collect(),
    }
}

/// Whether each border of the striped area differs from what lies beyond it, in lightness.
fn visible(scene: &Scene, card: &Card) -> [bool; 4] {
    let light = |spectrum: &Bands| lab(xyz_of(spectrum)).l;
    let differs = |ground: Ground, margin: f64| {
        let beyond = if margin > 0.0 {
            &card.paper
        } else {
            &scene.page.lid
        };
        (light(card.ground(ground)) - light(beyond)).abs() > 4.0
    };
    let ends = |margin: f64| card.stripes.iter().any(|s| differs(s.ground, margin));
    let side = |stripe: Option<&super::scene::Stripe>, margin: f64| {
        stripe.is_some_and(|s| differs(s.ground, margin))
    };
    let [left, top, right, bottom] = card.margins;
    [
        side(card.stripes.first(), left),
        ends(top),
        side(card.stripes.last(), right),
        ends(bottom),
    ]
}

fn troubles(scene: &Scene) -> Vec<String> {
    let mut words = Vec::new();
    let mut when = |is: bool, word: &str| {
        if is {
            words.push(word.to_owned());
        }
    };
    let scanner = &scene.scanner;
    let any_film =
        |f: &dyn Fn(&super::scene::Film) -> bool| scene.cards.iter().any(|c| c.films.iter().any(f));
    when(scene.cards.len() > 1, "several cards");
    when(
        scene.page.perspective.iter().flatten().any(|v| *v != 0.0),
        "perspective",
    );
    when(
        scene
            .cards
            .iter()
            .any(|c| c.rotation.rem_euclid(90.0) != 0.0),
        "turned",
    );
    when(scanner.glare > 0.0, "glare");
    when(scanner.shading != [0.0; 2], "shading");
    when(scanner.blur > 0.9, "blur");
    when(scanner.sharpening > 0.0, "sharpening");
    when(
        scanner.dark_noise > 0.003 || scanner.light_noise > 0.008,
        "noise",
    );
    when(scanner.exposure > 1.1, "lights clipped");
    when(scanner.offset < 0.0, "darks clipped");
    when(scene.page.dust > 0.0, "dust");
    when(scene.page.hairs > 0, "hairs");
    when(!scene.file.tagged, "no profile");
    when(
        matches!(scene.file.kind, super::scene::FileKind::Jpeg(_)),
        "JPEG",
    );
    when(scanner.stretch > 0.0, "automatic contrast");
    when(scanner.tone > 0.0, "local tone mapping");
    when(scene.page.dpi < 130.0, "below 130 dpi");
    when(scene.file.dpi.is_none(), "no resolution tag");
    when(
        scene
            .file
            .dpi
            .is_some_and(|dpi| (dpi - scene.page.dpi).abs() > 0.5),
        "wrong resolution tag",
    );
    when(any_film(&|f| f.streaks > 0.03), "streaks");
    when(any_film(&|f| f.slant != 0.0), "slanted film");
    when(any_film(&|f| f.bubbles > 0.0), "bubbles");
    when(scene.cards.iter().any(|c| c.haze > 0.0), "dull surface");
    when(scene.cards.iter().any(|c| c.smear > 0.0), "smeared black");
    when(scene.cards.iter().any(|c| c.glow > 0.0), "fluorescent");
    when(scene.cards.iter().any(|c| c.sheet > 0.0), "under plastic");
    when(scene.page.lid[15] < 0.1, "black lid");
    when(
        scene.cards.iter().any(|c| !c.marks.is_empty()),
        "writing or tape",
    );
    words
}

fn xyz(spectrum: &Bands) -> [f64; 3] {
    let Xyz { x, y, z, .. } = xyz_of(spectrum);
    [x, y, z].map(|v| round(v, 7))
}

fn lab_of(spectrum: &Bands) -> [f64; 3] {
    let lab = lab(xyz_of(spectrum));
    [lab.l, lab.a, lab.b].map(|v| round(v, 4))
}

fn rounded(bands: &Bands) -> Vec<f64> {
    bands.iter().map(|v| round(*v, 6)).collect()
}

fn round(value: f64, digits: i32) -> f64 {
    let scale = 10_f64.powi(digits);
    (value * scale).round() / scale
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::{render::render, trials};

    #[test]
    fn the_json_is_whole_and_lists_stay_on_one_line() {
        let truth = render(&trials::scene(11, 60.0)).truth;
        let text = truth.json();
        let value: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert_eq!(value, serde_json::to_value(&truth).unwrap());
        assert!(
            text.lines()
                .any(|line| line.contains("\"absorption\": [") && line.trim_end().ends_with("],"))
        );
        assert_eq!(
            value["cards"][0]["absorption"].as_array().unwrap().len(),
            31
        );
    }

    #[test]
    fn the_middle_film_has_build_one() {
        for seed in 0..12 {
            let scene = trials::scene(seed, 60.0);
            let card = &scene.cards[0];
            let reference = middle_film(card);
            let thinner = card
                .films
                .iter()
                .filter(|f| f.build < card.films[reference].build)
                .count();
            assert_eq!(thinner, (card.films.len() - 1) / 2);
        }
    }

    /// Grey of L* 54: Y = ((54 + 16) / 116)^3 (CIE 015:2018, 8.2.1).
    #[test]
    fn grounds_are_seven_greys_and_six_colours() {
        let grounds = grounds();
        assert_eq!(grounds.len(), 13);
        let y = libm::pow(70.0 / 116.0, 3.0);
        assert!((grounds[3].1[0] - y).abs() < 1e-12);
        let chroma = |spectrum: &Bands| libm::hypot(lab_of(spectrum)[1], lab_of(spectrum)[2]);
        assert!(grounds[..7].iter().all(|(_, s)| chroma(s) < 1e-3));
        assert!(
            grounds[7..].iter().all(|(_, s)| chroma(s) > 8.0),
            "{:?}",
            grounds.iter().map(|g| lab_of(&g.1)).collect::<Vec<_>>()
        );
    }

    #[test]
    fn an_outer_white_stripe_on_its_own_paper_has_no_visible_border() {
        let mut scene = trials::scene(3, 60.0);
        let card = &mut scene.cards[0];
        card.stripes[0].ground = Ground::White;
        card.paper = card.white;
        card.margins = [10.0; 4];
        assert!(!visible(&scene, &scene.cards[0])[0]);
        assert!(visible(&scene, &scene.cards[0])[1]);
        scene.cards[0].paper = [0.3; BANDS];
        assert!(visible(&scene, &scene.cards[0])[0]);
    }
}
