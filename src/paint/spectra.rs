//! A paint's spectra as tables for other programs: CGATS.17 text (ANSI CGATS.17, ISO 28178) and CSV.

use std::fmt::Write as _;

use super::Record;
use crate::{
    Result, colour,
    film::{surface, table::Table},
    spectrum::{self, BANDS, Bands},
};

/// One line of the table: something seen, and its spectrum.
struct Sample {
    id: String,
    name: String,
    spectrum: Bands,
}

/// Six digits, as in the pigment file.
fn printed(value: f64) -> String {
    let value = crate::reading::printed(value);
    if value == 0.0 {
        "0".to_owned()
    } else {
        value.to_string()
    }
}

fn bands(values: &[f64]) -> Option<Bands> {
    values.try_into().ok()
}

/// Bare stripes and, from the constants, every film over both; the masstone last.
fn samples(record: &Record) -> Result<Vec<Sample>> {
    let constants = record.constants()?;
    let stripes = &record.stripes;
    let mut samples = Vec::new();
    let grounds = [
        ("white", &stripes.white_spectrum),
        ("black", &stripes.black_spectrum),
    ];
    for (name, spectrum) in &grounds {
        if let Some(spectrum) = bands(spectrum) {
            samples.push(Sample {
                id: format!("bare_{name}"),
                name: format!("bare {name} stripe"),
                spectrum,
            });
        }
    }
    for (i, film) in record.films.iter().enumerate() {
        for (name, spectrum) in &grounds {
            let Some(under) = bands(spectrum) else {
                continue;
            };
            let under = under.map(surface::to_internal);
            samples.push(Sample {
                id: format!("film_{}_{name}", i + 1),
                name: format!("film {} (build {}) over {name}", i + 1, printed(film.build)),
                spectrum: std::array::from_fn(|band| {
                    let (k, s) = (constants.absorption[band], constants.scattering[band]);
                    Table::shared()
                        .film(k * film.build, s * film.build, constants.anisotropy)
                        .over(under[band])
                }),
            });
        }
    }
    samples.push(Sample {
        id: "masstone".to_owned(),
        name: "too thick to see through".to_owned(),
        spectrum: constants.masstone(),
    });
    Ok(samples)
}

/// Text in quotation marks; what the standard does not allow in them becomes a plain sign.
fn quoted(text: &str) -> String {
    let plain: String = text
        .chars()
        .map(|c| match c {
            '"' => '\'',
            c if crate::error::is_unseen(c) => ' ',
            c => c,
        })
        .collect();
    format!("\"{}\"", plain.trim())
}

/// Reflectance spectra over both grounds, with XYZ (0 to 100) and Lab of each spectrum, as CGATS.17 text.
///
/// # Errors
/// When the paint has no constants.
pub fn cgats(record: &Record) -> Result<String> {
    let samples = samples(record)?;
    let mut text = String::from("CGATS.17\n");
    let label = &record.paint;
    let mut head = |keyword: &str, value: &str| {
        let _ = writeln!(text, "{keyword}\t{}", quoted(value));
    };
    // Names that the standard does not have are declared before they are used.
    head("KEYWORD", "ILLUMINATION_NAME");
    head("KEYWORD", "OBSERVER_ANGLE");
    for nm in spectrum::wavelengths() {
        head("KEYWORD", &format!("SPECTRAL_NM{nm:.0}"));
    }
    head(
        "ORIGINATOR",
        &format!("Two Grounds {}", env!("CARGO_PKG_VERSION")),
    );
    head(
        "DESCRIPTOR",
        &format!(
            "{}: spectra of its films over white and black, computed from constants that were fitted to a scan",
            label.name_or_unnamed()
        ),
    );
    head("CREATED", &record.provenance.when);
    head(
        "MATERIAL",
        &[&label.maker, &label.binder].map(String::as_str).join(" "),
    );
    head(
        "MEASUREMENT_SOURCE",
        "Illumination=D50 ObserverAngle=2_degree WhiteBase=Abs",
    );
    head("ILLUMINATION_NAME", "D50");
    head("OBSERVER_ANGLE", "2");
    head("MEASUREMENT_GEOMETRY", "45/0");
    text += "# Reflectance factors 0 to 1 relative to a perfect diffuser; gloss excluded. XYZ 0 to 100 and LAB belong to the spectra.\n";
    let _ = writeln!(text, "NUMBER_OF_FIELDS\t{}", 8 + BANDS);
    text += "BEGIN_DATA_FORMAT\nSAMPLE_ID\tSAMPLE_NAME\tXYZ_X\tXYZ_Y\tXYZ_Z\tLAB_L\tLAB_A\tLAB_B";
    for nm in spectrum::wavelengths() {
        let _ = write!(text, "\tSPECTRAL_NM{nm:.0}");
    }
    let _ = write!(
        text,
        "\nEND_DATA_FORMAT\nNUMBER_OF_SETS\t{}\nBEGIN_DATA\n",
        samples.len()
    );
    for sample in &samples {
        let xyz = spectrum::xyz_of(&sample.spectrum);
        let lab = colour::lab(xyz);
        let _ = write!(text, "{}\t{}", sample.id, quoted(&sample.name));
        for value in [xyz.x, xyz.y, xyz.z].map(|v| 100.0 * v) {
            let _ = write!(text, "\t{}", printed(value));
        }
        for value in [lab.l, lab.a, lab.b].into_iter().chain(sample.spectrum) {
            let _ = write!(text, "\t{}", printed(value));
        }
        text.push('\n');
    }
    text += "END_DATA\n";
    Ok(text)
}

/// A field of a CSV file (RFC 4180).
fn field(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

/// Constants with their 90 % range and spectra, a row for each wavelength, as CSV (RFC 4180).
///
/// # Errors
/// When the paint has no constants.
pub fn csv(record: &Record) -> Result<String> {
    // Nine times in ten of a normal distribution.
    const NINETY: f64 = 1.645;
    let samples = samples(record)?;
    let spread = &record.uncertainty;
    let mut head: Vec<String> = [
        "wavelength_nm",
        "K_per_build",
        "K_low_90",
        "K_high_90",
        "S_per_build",
        "S_low_90",
        "S_high_90",
    ]
    .map(str::to_owned)
    .to_vec();
    head.extend(
        samples
            .iter()
            .map(|sample| format!("reflectance: {}", sample.name)),
    );
    let mut text = head
        .iter()
        .map(|name| field(name))
        .collect::<Vec<_>>()
        .join(",");
    text += "\r\n";
    for (band, nm) in spectrum::wavelengths().into_iter().enumerate() {
        let mut row = vec![nm];
        for (values, sd) in [
            (&record.absorption, &spread.log_absorption_sd),
            (&record.scattering, &spread.log_scattering_sd),
        ] {
            let sd = sd.get(band).copied().unwrap_or(0.0);
            row.extend([0.0, -NINETY, NINETY].map(|far| values[band] * libm::exp(far * sd)));
        }
        row.extend(samples.iter().map(|sample| sample.spectrum[band]));
        text += &row.into_iter().map(printed).collect::<Vec<_>>().join(",");
        text += "\r\n";
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use std::{collections::HashMap, fs, path::Path};

    use super::*;
    use crate::{
        card::Ground,
        colour::{Lab, Xyz},
    };

    fn record(name: &str) -> Record {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
        let text = fs::read_to_string(folder.join(format!("{name}.pigment.json"))).unwrap();
        Record::read(&text).unwrap()
    }

    /// Words of a CGATS line: separated by white space, quotation marks hold words together.
    fn words(line: &str) -> Vec<String> {
        let mut words = Vec::new();
        let mut rest = line.trim();
        while !rest.is_empty() {
            let (word, after) = match rest.strip_prefix('"') {
                Some(inner) => inner.split_once('"').expect("quotation marks are closed"),
                None => rest.split_once([' ', '\t']).unwrap_or((rest, "")),
            };
            words.push(word.to_owned());
            rest = after.trim_start();
        }
        words
    }

    /// Whether the standard has a keyword or field, or the file has declared it. The list is that of Little CMS 2
    /// (`cmscgats.c`), as far as it is used here.
    fn is_known(name: &str, declared: &[String]) -> bool {
        const KNOWN: [&str; 16] = [
            "ORIGINATOR",
            "DESCRIPTOR",
            "CREATED",
            "MATERIAL",
            "MEASUREMENT_SOURCE",
            "MEASUREMENT_GEOMETRY",
            "NUMBER_OF_FIELDS",
            "NUMBER_OF_SETS",
            "SAMPLE_ID",
            "SAMPLE_NAME",
            "XYZ_X",
            "XYZ_Y",
            "XYZ_Z",
            "LAB_L",
            "LAB_A",
            "LAB_B",
        ];
        KNOWN.contains(&name) || declared.iter().any(|of| of == name)
    }

    /// A strict reader of one table, written from the structure that ISO 28178 and ANSI CGATS.17 give (from memory of both):
    /// header of keywords with values, data format, data, both counted and closed.
    fn read(text: &str) -> (HashMap<String, String>, Vec<HashMap<String, String>>) {
        let mut lines = text
            .lines()
            .filter(|line| !line.trim_start().starts_with('#') && !line.trim().is_empty());
        assert_eq!(lines.next(), Some("CGATS.17"));
        let mut head = HashMap::new();
        let mut declared = Vec::new();
        let mut names = Vec::new();
        while let Some(line) = lines.next() {
            let parts = words(line);
            match parts[0].as_str() {
                "BEGIN_DATA_FORMAT" => {
                    for line in lines.by_ref().take_while(|line| *line != "END_DATA_FORMAT") {
                        names.extend(words(line));
                    }
                }
                "BEGIN_DATA" => break,
                "KEYWORD" => declared.push(parts[1].clone()),
                keyword => {
                    assert_eq!(parts.len(), 2, "{line}");
                    assert!(is_known(keyword, &declared), "{keyword} is not declared");
                    assert!(
                        keyword
                            .chars()
                            .all(|c| c.is_ascii_uppercase() || c == '_' || c.is_ascii_digit())
                    );
                    assert!(head.insert(keyword.to_owned(), parts[1].clone()).is_none());
                }
            }
        }
        let rows: Vec<_> = lines
            .by_ref()
            .take_while(|line| *line != "END_DATA")
            .map(|line| {
                let values = words(line);
                assert_eq!(values.len(), names.len(), "{line}");
                names.iter().cloned().zip(values).collect()
            })
            .collect();
        assert_eq!(lines.next(), None, "nothing after the data");
        assert!(names.iter().all(|name| is_known(name, &declared)));
        assert_eq!(head["NUMBER_OF_FIELDS"], names.len().to_string());
        assert_eq!(head["NUMBER_OF_SETS"], rows.len().to_string());
        (head, rows)
    }

    #[test]
    fn a_cgats_file_is_read_by_the_standards_structure_and_its_colours_agree() {
        let mut record = record("storm-blue");
        record.paint.name = "A \"blue\"\n#7".into();
        let (head, rows) = read(&cgats(&record).unwrap());
        assert!(head["DESCRIPTOR"].starts_with("A 'blue' #7"));
        assert_eq!(rows.len(), 2 + 2 * record.films.len() + 1);
        let number = |row: &HashMap<String, String>, name: &str| row[name].parse::<f64>().unwrap();
        for row in &rows {
            // XYZ, LAB and the spectrum are the same colour.
            let spectrum: Bands =
                std::array::from_fn(|i| number(row, &format!("SPECTRAL_NM{}", 400 + 10 * i)));
            let lab = colour::lab(spectrum::xyz_of(&spectrum));
            let told = Lab::new(
                number(row, "LAB_L"),
                number(row, "LAB_A"),
                number(row, "LAB_B"),
            );
            assert!(colour::difference(lab, told) < 1e-3);
            let xyz = ["XYZ_X", "XYZ_Y", "XYZ_Z"].map(|name| number(row, name) / 100.0);
            assert!(colour::difference(colour::lab(Xyz::new(xyz[0], xyz[1], xyz[2])), told) < 1e-3);
            // And near what was measured there.
            let cell = record.cells.iter().find(|cell| {
                let ground = if cell.ground == Ground::White {
                    "white"
                } else {
                    "black"
                };
                row["SAMPLE_ID"] == format!("film_{}_{ground}", cell.film + 1)
            });
            if let Some(cell) = cell {
                let [x, y, z] = cell.xyz;
                assert!(
                    colour::difference(told, colour::lab(Xyz::new(x, y, z))) < 1.5,
                    "{row:?}"
                );
            }
        }
    }

    #[test]
    fn a_csv_file_has_a_row_for_every_band_and_ranges_around_the_constants() {
        let record = record("cliff-rose");
        let text = csv(&record).unwrap();
        let mut rows = text.split_terminator("\r\n");
        let columns = rows.next().unwrap().split(',').count();
        let rows: Vec<Vec<f64>> = rows
            .map(|row| row.split(',').map(|v| v.parse().unwrap()).collect())
            .collect();
        assert_eq!(rows.len(), BANDS);
        for (band, row) in rows.iter().enumerate() {
            assert_eq!(row.len(), columns);
            assert_eq!(row[0], 400.0 + 10.0 * band as f64);
            assert_eq!(
                (row[1], row[4]),
                (record.absorption[band], record.scattering[band])
            );
            assert!(row[2] <= row[1] && row[1] <= row[3] && row[5] <= row[4] && row[4] <= row[6]);
            assert!(row[7..].iter().all(|r| (0.0..=1.05).contains(r)));
        }
    }

    #[test]
    fn a_paint_without_constants_is_refused_in_words() {
        let mut record = record("cliff-rose");
        record.absorption.clear();
        record.scattering.clear();
        assert!(
            cgats(&record)
                .unwrap_err()
                .to_string()
                .contains("has no constants")
        );
        assert!(csv(&record).is_err());
    }
}
