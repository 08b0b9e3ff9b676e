//! Pictures as SVG: the drawn strip of a paint, its curves of K and S.
//!
//! Every picture is a whole SVG file of its own, made to be shown as an image: identifiers inside it are not unique
//! beyond it. Nothing in it comes from a label, and no `style` attribute is used, which a strict content policy blocks.
//! Chrome is black with opacity, so that it sits on any neutral page; the colours of paint are sRGB.

use std::fmt::Write;

use plotters::{
    prelude::*,
    style::text_anchor::{HPos, Pos, VPos},
};

use crate::{
    Error, Result,
    card::Ground,
    colour::{self, Screen, Xyz},
    film::{surface, table::Table},
    paint::Record,
    spectrum::{self, BANDS},
};

/// Reflectance of the strip's white and black: the nominal stripes of the milk on black, the same for every paint,
/// so that strips can be compared.
const WHITE: f64 = 0.84;
/// See [`WHITE`].
const BLACK: f64 = 0.035;
/// Where the film begins and where the knife lifted, as shares of the strip's width.
const FILM: [f64; 2] = [0.12, 0.985];
/// Colour stops along a film.
const STOPS: usize = 32;
/// Two-sided 90 % of a normal distribution, in standard deviations.
const NINETY: f64 = 1.644_854;

/// Least and most build that a strip shows, from the builds of the card's films: an eighth of the thinnest to a little
/// beyond the thickest.
pub fn strip_span(builds: &[f64]) -> [f64; 2] {
    let least = builds.iter().copied().fold(f64::INFINITY, f64::min);
    let most = builds.iter().copied().fold(0.0, f64::max);
    if most > 0.0 {
        [least / 8.0, most * 1.3]
    } else {
        [0.25, 2.0]
    }
}

/// A paint as a drawn film: white lane above black lane, bare at the left, the film thin to thick towards the right, a
/// bead where the knife lifted. Ticks mark the films of the card; beyond them its edges are dashed.
///
/// A paint without constants shows its measured cells instead. `width` and `height` are in pixels.
pub fn strip(record: &Record, width: f64, height: f64) -> String {
    let mut svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}">"#
    );
    let lane = height / 2.0;
    for (y, reflectance) in [(0.0, WHITE), (lane, BLACK)] {
        rect(&mut svg, [0.0, y, width, lane], &grey(reflectance).hex());
    }
    if record.absorption.len() == BANDS && record.scattering.len() == BANDS {
        film(&mut svg, record, width, height);
    } else {
        cells(&mut svg, record, width, height);
    }
    svg.push_str("</svg>");
    svg
}

fn film(svg: &mut String, record: &Record, width: f64, height: f64) {
    let builds: Vec<f64> = record
        .films
        .iter()
        .map(|film| film.build)
        .filter(|build| build.is_finite() && *build > 0.0)
        .collect();
    let span = strip_span(&builds);
    let [from, to] = FILM.map(|share| share * width);
    let bead = (0.016 * width).max(2.5);
    let (top, bottom) = (0.1 * height, 0.9 * height);

    svg.push_str("<defs>");
    for (name, ground) in [("w", WHITE), ("b", BLACK)] {
        let _ = write!(svg, r#"<linearGradient id="{name}">"#);
        for stop in 0..=STOPS {
            let share = stop as f64 / STOPS as f64;
            let colour = seen(record, along(span, share), ground).hex();
            let _ = write!(svg, r#"<stop offset="{share}" stop-color="{colour}"/>"#);
        }
        svg.push_str("</linearGradient>");
    }
    let _ = write!(
        svg,
        r#"<clipPath id="f"><path d="{}"/></clipPath></defs>"#,
        outline(from, to, top, bottom)
    );
    svg.push_str(r#"<g clip-path="url(#f)">"#);
    for (name, ground, y) in [("w", WHITE, top), ("b", BLACK, height / 2.0)] {
        let lane = [from, y, to - from, height / 2.0 - top];
        rect(svg, lane, &format!("url(#{name})"));
        let thick = seen(record, 4.0 * span[1], ground).hex();
        rect(svg, [to - bead, y, bead, height / 2.0 - top], &thick);
    }
    svg.push_str("</g>");

    let x =
        |build: f64| from + (to - from) * libm::log(build / span[0]) / libm::log(span[1] / span[0]);
    let mut ticks: Vec<f64> = builds.iter().map(|&build| x(build)).collect();
    ticks.sort_unstable_by(f64::total_cmp);
    let drawn = match (ticks.first(), ticks.last()) {
        (Some(&first), Some(&last)) => [first, last],
        _ => [to, to],
    };
    for (y, ink) in [(top, "#000"), (bottom, "#fff")] {
        let (start, end) = (from + 0.02 * width, to);
        line(svg, [start, y, drawn[0], y], ink, 0.45, "2 3");
        line(svg, [drawn[0], y, drawn[1], y], ink, 0.6, "");
        line(svg, [drawn[1], y, end, y], ink, 0.45, "2 3");
    }
    for tick in ticks {
        line(svg, [tick, 0.0, tick, 0.07 * height], "#000", 1.0, "");
    }
}

/// The measured cells, film by film, for a paint that no constants describe.
fn cells(svg: &mut String, record: &Record, width: f64, height: f64) {
    let [from, to] = FILM.map(|share| share * width);
    let step = (to - from) / record.films.len().max(1) as f64;
    for cell in &record.cells {
        let y = match cell.ground {
            Ground::White => 0.1 * height,
            Ground::Black => 0.5 * height,
        };
        let [x, y_, z] = cell.xyz;
        let colour = colour::screen(colour::lab(Xyz::new(x, y_, z))).hex();
        let left = from + step * cell.film as f64;
        rect(svg, [left, y, 0.94 * step, 0.4 * height], &colour);
    }
}

/// A film's outline: ragged where it begins thin, slightly bowed where the knife lifted.
fn outline(from: f64, to: f64, top: f64, bottom: f64) -> String {
    const TEETH: u32 = 17;
    let mut path = String::new();
    for tooth in 0..=TEETH {
        let y = top + (bottom - top) * f64::from(tooth) / f64::from(TEETH);
        // A fixed scatter (Knuth's multiplicative hash), squared so that few teeth are long.
        let scatter = f64::from(tooth.wrapping_mul(2_654_435_761) >> 16) / 65_536.0;
        let x = from + (to - from) * 0.035 * scatter * scatter;
        let _ = write!(path, "{}{x:.2},{y:.2} ", if tooth == 0 { "M" } else { "L" });
    }
    let bow = 0.006 * (to - from);
    let middle = (top + bottom) / 2.0;
    let right = to - bow;
    let _ = write!(
        path,
        "L{right:.2},{bottom:.2} Q{:.2},{middle:.2} {right:.2},{top:.2}Z",
        to + bow
    );
    path
}

fn along(span: [f64; 2], share: f64) -> f64 {
    span[0] * libm::pow(span[1] / span[0], share)
}

/// What a film of the paint looks like over a grey of the given reflectance.
fn seen(record: &Record, build: f64, ground: f64) -> Screen {
    let table = Table::shared();
    let rho = surface::to_internal(ground);
    let spectrum = std::array::from_fn(|band| {
        table
            .film(
                record.absorption[band] * build,
                record.scattering[band] * build,
                record.basis.transport.anisotropy,
            )
            .over(rho)
    });
    colour::screen(colour::lab(spectrum::xyz_of(&spectrum)))
}

fn grey(reflectance: f64) -> Screen {
    colour::screen(colour::lab(spectrum::xyz_of(&[reflectance; BANDS])))
}

fn rect(svg: &mut String, [x, y, width, height]: [f64; 4], fill: &str) {
    let _ = write!(
        svg,
        r#"<rect x="{x:.2}" y="{y:.2}" width="{width:.2}" height="{height:.2}" fill="{fill}"/>"#
    );
}

fn line(svg: &mut String, [x1, y1, x2, y2]: [f64; 4], ink: &str, opacity: f64, dashes: &str) {
    let dashes = if dashes.is_empty() {
        String::new()
    } else {
        format!(r#" stroke-dasharray="{dashes}""#)
    };
    let _ = write!(
        svg,
        r#"<path d="M{x1:.2},{y1:.2}L{x2:.2},{y2:.2}" stroke="{ink}" stroke-opacity="{opacity}"{dashes}/>"#
    );
}

/// Curves of K and S over wavelength, each with the band that holds it nine times in ten, on logarithmic axes.
///
/// Drawn at twice the size it is meant for, because plotters rounds to whole pixels.
pub fn curves(record: &Record) -> Result<String> {
    let mut svg = String::new();
    {
        let root = SVGBackend::with_string(&mut svg, (880, 760)).into_drawing_area();
        let (upper, lower) = root.split_vertically(380);
        let spread = &record.uncertainty;
        curve(
            &upper,
            "K, absorption in one build",
            &record.absorption,
            &spread.log_absorption_sd,
        )
        .and_then(|()| {
            curve(
                &lower,
                "S, scattering in one build",
                &record.scattering,
                &spread.log_scattering_sd,
            )
        })
        .and_then(|()| root.present())
        .map_err(|error| Error::Outside {
            what: "The drawing",
            doing: "of the curves failed",
            reason: error.to_string(),
        })?;
    }
    Ok(svg)
}

type Area<'a> = DrawingArea<SVGBackend<'a>, plotters::coord::Shift>;
type Drawn = std::result::Result<(), DrawingAreaErrorKind<std::io::Error>>;

fn curve(area: &Area, title: &str, values: &[f64], sd: &[f64]) -> Drawn {
    if values.len() != BANDS || sd.len() != BANDS {
        return Ok(());
    }
    let nm = spectrum::wavelengths();
    let low: Vec<f64> = (0..BANDS)
        .map(|i| values[i] * libm::exp(-NINETY * sd[i]))
        .collect();
    let high: Vec<f64> = (0..BANDS)
        .map(|i| values[i] * libm::exp(NINETY * sd[i]))
        .collect();
    let least = values.iter().copied().fold(f64::INFINITY, f64::min);
    let most = values.iter().copied().fold(0.0, f64::max);
    let lowest = low.iter().copied().fold(f64::INFINITY, f64::min);
    let highest = high.iter().copied().fold(0.0, f64::max);
    // A band that leaves everything open would squeeze the curve flat: it is cut a decade beyond the curve.
    let floor = decade(lowest.max(0.1 * least), libm::floor);
    let ceiling = decade(highest.min(10.0 * most), libm::ceil).max(10.0 * floor);

    let mut chart = ChartBuilder::on(area)
        .margin_top(56)
        .margin_right(44)
        .margin_bottom(44)
        .margin_left(110)
        .build_cartesian_2d(nm[0]..nm[BANDS - 1], (floor..ceiling).log_scale())?;
    let grid = BLACK_INK.mix(0.25);
    for nm in (400..=700).step_by(50).map(f64::from) {
        let foot = chart.backend_coord(&(nm, floor));
        label(
            area,
            &format!("{nm:.0}{}", if nm == 700.0 { " nm" } else { "" }),
            (foot.0, foot.1 + 16),
            HPos::Center,
            VPos::Top,
        )?;
    }
    let mut power = floor;
    while power < 1.001 * ceiling {
        chart.draw_series(LineSeries::new(
            [(nm[0], power), (nm[BANDS - 1], power)],
            grid,
        ))?;
        let end = chart.backend_coord(&(nm[0], power));
        label(
            area,
            &plain(power),
            (end.0 - 14, end.1),
            HPos::Right,
            VPos::Center,
        )?;
        power *= 10.0;
    }
    let left = chart.backend_coord(&(nm[0], ceiling)).0;
    label(
        area,
        title,
        (left, chart.backend_coord(&(nm[0], ceiling)).1 - 16),
        HPos::Left,
        VPos::Bottom,
    )?;

    let band: Vec<(f64, f64)> = (0..BANDS)
        .map(|i| (nm[i], high[i].min(ceiling)))
        .chain((0..BANDS).rev().map(|i| (nm[i], low[i].max(floor))))
        .collect();
    chart.draw_series(std::iter::once(Polygon::new(band, BLACK_INK.mix(0.22))))?;
    chart.draw_series(LineSeries::new(
        nm.iter().copied().zip(values.iter().copied()),
        BLACK_INK.stroke_width(3),
    ))?;
    Ok(())
}

/// Text at a pixel of the whole picture. Placed by hand and not by plotters' own axes: in WebAssembly these measure text in
/// a browser window, and a worker has none.
fn label(area: &Area, text: &str, at: (i32, i32), across: HPos, down: VPos) -> Drawn {
    let style = ("sans-serif", 32)
        .into_font()
        .color(&BLACK_INK)
        .pos(Pos::new(across, down));
    let origin = area.get_pixel_range();
    area.draw_text(text, &style, (at.0 - origin.0.start, at.1 - origin.1.start))
}

const BLACK_INK: RGBColor = RGBColor(0, 0, 0);

/// The power of ten at or beyond a value, kept to what an axis can show.
fn decade(value: f64, round: fn(f64) -> f64) -> f64 {
    let exponent = round(libm::log10(value.clamp(1e-6, 1e4)));
    libm::pow(10.0, exponent)
}

/// A tick's number without exponent or trailing zeros.
fn plain(value: f64) -> String {
    let text = format!("{value:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::paint::file::*;

    /// A rose glaze of invented constants with a hostile name.
    fn record() -> Record {
        let bump = |nm: f64, centre: f64, wide: f64| {
            libm::exp(-((nm - centre) / wide) * ((nm - centre) / wide))
        };
        let nm = spectrum::wavelengths();
        Record {
            format: FORMAT.to_owned(),
            version: VERSION,
            paint: Label {
                name: "</svg><script>alert(1)</script>".to_owned(),
                ..Label::default()
            },
            basis: Basis {
                wavelengths_nm: nm.to_vec(),
                film_unit: FILM_UNIT.to_owned(),
                illuminant: "D50".to_owned(),
                observer: "CIE 1931 2 degree".to_owned(),
                surface: SurfaceOptics {
                    index: 1.5,
                    entry: 0.405,
                    inner: 0.596,
                },
                transport: Transport {
                    anisotropy: 0.4,
                    directions: 12,
                },
                white_reference: "perfect diffuser".to_owned(),
                black_reference: None,
                channels_to_xyz: None,
            },
            absorption: nm
                .iter()
                .map(|&nm| 0.02 + 1.4 * bump(nm, 540.0, 40.0))
                .collect(),
            scattering: nm
                .iter()
                .map(|&nm| 0.012 * libm::pow(400.0 / nm, 1.5))
                .collect(),
            uncertainty: Uncertainty {
                lower_factor: Vec::new(),
                anisotropy_row: Vec::new(),
                log_absorption_sd: vec![0.12; BANDS],
                log_scattering_sd: vec![0.4; BANDS],
            },
            stripes: Stripes {
                white_xyz: [0.8, 0.83, 0.68],
                black_xyz: [0.03, 0.031, 0.026],
                white_spectrum: vec![0.83; BANDS],
                black_spectrum: vec![0.031; BANDS],
                sealed: true,
            },
            reference_film: 1,
            films: [0.45, 1.0, 2.2]
                .map(|build| Film {
                    build,
                    build_sd: 0.05,
                })
                .to_vec(),
            cells: vec![Cell {
                film: 0,
                ground: Ground::White,
                xyz: [0.5, 0.4, 0.4],
                sd: [0.002; 3],
                scatter: None,
                fitted_xyz: [0.5, 0.4, 0.4],
                de00: 0.1,
                pixels: 1000,
                rejected_share: 0.0,
                clipped_share: 0.0,
                clipped_channels: None,
            }],
            surface: Surface::Glossy,
            dry: Dry("yes".to_owned()),
            gauge: None,
            film_weight: None,
            state: State::Known,
            opacity: Opacity {
                milk_on_black: Some(-1.0),
                milk_sd: Some(0.5),
                grade: Some(Grade::Clear),
                contrast_ratio: vec![0.05, 0.1, 0.2],
                hiding_build: None,
                masstone_lab: None,
                undertone_lab: None,
            },
            findings: Vec::new(),
            provenance: Provenance {
                file_name: String::new(),
                size: [1, 1],
                depth: 8,
                profile: String::new(),
                scanner: crate::paint::file::ScannerKind::Unknown,
                card_number: None,
                when: String::new(),
                program: String::new(),
            },
            coats: Vec::new(),
            tints: Vec::new(),
            unknown: serde_json::Map::new(),
        }
    }

    fn assert_safe(svg: &str) {
        for forbidden in ["style=", "<script", "href", "onload", "alert", "NaN", "inf"] {
            assert!(!svg.contains(forbidden), "{forbidden} in {svg}");
        }
        assert!(svg.starts_with("<svg") && svg.trim_end().ends_with("</svg>"));
    }

    #[test]
    fn pictures_hold_no_markup_of_a_label_and_no_style() {
        let mut record = record();
        assert_safe(&strip(&record, 440.0, 100.0));
        assert_safe(&curves(&record).unwrap());
        record.absorption.clear();
        record.films.clear();
        assert_safe(&strip(&record, 440.0, 100.0));
        assert_safe(&curves(&record).unwrap());
    }

    #[test]
    fn a_film_begins_as_the_bare_stripe_and_ends_as_the_masstone() {
        let record = record();
        let thin = seen(&record, 1e-6, WHITE);
        assert_eq!(thin.rgb, grey(WHITE).rgb);
        let thick = [WHITE, BLACK].map(|ground| seen(&record, 1e3, ground).rgb);
        assert_eq!(thick[0], thick[1]);
    }

    #[test]
    fn extreme_constants_still_draw() {
        let mut record = record();
        record.absorption = vec![1e300; BANDS];
        record.scattering = vec![1e-300; BANDS];
        record.uncertainty.log_scattering_sd = vec![900.0; BANDS];
        assert_safe(&strip(&record, 180.0, 84.0));
        assert_safe(&curves(&record).unwrap());
        record.films = vec![Film {
            build: f64::NAN,
            build_sd: 0.0,
        }];
        assert_safe(&strip(&record, 180.0, 84.0));
    }
}
