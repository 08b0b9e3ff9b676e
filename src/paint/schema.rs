//! The pigment file's JSON Schema, `tests/data/pigment.schema.json`: made from the types of [`super::file`] and from the
//! bounds that reading checks, and kept in step with both.

use std::fs;
use std::path::Path;

use serde_json::{Map, Value, json};

use super::file::{self, Basis, Record};
use crate::{
    film::table,
    spectrum::{self, BANDS},
};

const FILE: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/tests/data/pigment.schema.json"
);

/// The schema as the types and bounds are now.
fn schema() -> Value {
    let mut schema = schemars::schema_for!(Record).to_value();
    let numbers = |count: usize, least: f64, most: f64| json!({"minItems": count, "maxItems": count, "items": {"type": "number", "minimum": least, "maximum": most}});
    let bands = |most: f64| json!({"minItems": BANDS, "maxItems": BANDS, "items": {"type": "number", "exclusiveMinimum": 0, "maximum": most}});
    let rows = |least: f64, most: f64| json!({"minItems": 3, "maxItems": 3, "items": {"type": "array", "minItems": 3, "maxItems": 3, "items": {"type": "number", "minimum": least, "maximum": most}}});
    let between = |least: f64, most: f64| json!({"minimum": least, "maximum": most});
    let text = json!({"maxLength": file::LONGEST_TEXT});
    let entries = |least: usize, most: usize| json!({"minItems": least, "maxItems": most});
    for (path, bounds) in [
        (
            "",
            json!({"$id": "twoground-pigment", "title": "Pigment file"}),
        ),
        ("/properties/format", json!({"const": file::FORMAT})),
        ("/properties/version", json!({"const": file::VERSION})),
        (
            "/$defs/Opacity/properties/milk_on_black",
            between(-file::MOST_MILK, file::MOST_MILK),
        ),
        (
            "/$defs/Opacity/properties/milk_sd",
            between(0.0, file::MOST_MILK),
        ),
        (
            "/properties/film_weight",
            between(file::FILM_WEIGHT[0], file::FILM_WEIGHT[1]),
        ),
        ("/properties/films", entries(1, file::MOST_ENTRIES)),
        ("/properties/cells", entries(0, 2 * file::MOST_ENTRIES)),
        (
            "/$defs/Basis/properties/wavelengths_nm",
            json!({"const": spectrum::wavelengths().to_vec()}),
        ),
        (
            "/$defs/Basis/properties/film_unit",
            json!({"const": file::FILM_UNIT}),
        ),
        (
            "/$defs/Basis/properties/illuminant",
            json!({"const": "D50"}),
        ),
        (
            "/$defs/Basis/properties/observer",
            json!({"const": "CIE 1931 2 degree"}),
        ),
        ("/$defs/SurfaceOptics/properties/index", between(1.0, 3.0)),
        ("/$defs/SurfaceOptics/properties/entry", between(0.0, 1.0)),
        ("/$defs/SurfaceOptics/properties/inner", between(0.0, 1.0)),
        (
            "/$defs/Transport/properties/anisotropy",
            between(table::EVEN, table::MOST_FORWARD),
        ),
        ("/$defs/Film/properties/build", between(1e-6, 1e6)),
        ("/$defs/Film/properties/build_sd", between(0.0, 1e6)),
        ("/$defs/Stripes/properties/white_xyz", numbers(3, -0.1, 4.0)),
        ("/$defs/Stripes/properties/black_xyz", numbers(3, -0.1, 4.0)),
        ("/$defs/Stripes/properties/white_spectrum", bands(4.0)),
        ("/$defs/Stripes/properties/black_spectrum", bands(4.0)),
        ("/$defs/Cell/properties/xyz", numbers(3, -1.0, 10.0)),
        ("/$defs/Cell/properties/fitted_xyz", numbers(3, -1.0, 10.0)),
        ("/$defs/Cell/properties/sd", numbers(3, 0.0, 10.0)),
        ("/$defs/Cell/properties/scatter", numbers(3, 0.0, 10.0)),
        ("/$defs/Cell/properties/clipped_channels", rows(0.0, 10.0)),
        ("/$defs/Basis/properties/channels_to_xyz", rows(-10.0, 10.0)),
        ("/properties/coats", entries(0, file::MOST_ENTRIES)),
        ("/$defs/Scrap/properties/coats", between(1e-4, 100.0)),
        ("/$defs/Scrap/properties/way", text.clone()),
        ("/$defs/Scrap/properties/from", text.clone()),
        ("/properties/tints", entries(0, file::MOST_ENTRIES)),
        (
            "/$defs/Tint/properties/parts",
            between(file::TINT_PARTS[0], file::TINT_PARTS[1]),
        ),
        (
            "/$defs/Tint/properties/with_parts",
            between(file::TINT_PARTS[0], file::TINT_PARTS[1]),
        ),
        ("/$defs/Tint/properties/from", text.clone()),
        ("/$defs/TintedWith/properties/name", text.clone()),
        ("/$defs/TintedWith/properties/maker", text.clone()),
        ("/$defs/TintedWith/properties/binder", text.clone()),
        ("/$defs/TintedWith/properties/batch", text.clone()),
        (
            "/$defs/ScrapColour/properties/lab",
            numbers(3, -150.0, 150.0),
        ),
        (
            "/$defs/ScrapColour/properties/lab_sd",
            numbers(3, 0.0, 50.0),
        ),
        ("/$defs/Label/properties/name", text.clone()),
        ("/$defs/Label/properties/maker", text.clone()),
        ("/$defs/Label/properties/binder", text.clone()),
        ("/$defs/Label/properties/batch", text.clone()),
        ("/$defs/Label/properties/drawn_on", text.clone()),
        ("/$defs/Label/properties/lightfastness", text.clone()),
        ("/$defs/Label/properties/notes", text),
        (
            "/$defs/Label/properties/colour_index",
            entries(0, file::MOST_ENTRIES),
        ),
    ] {
        let place = schema.pointer_mut(path).and_then(Value::as_object_mut);
        let place = place.unwrap_or_else(|| panic!("the types have no {path} any more"));
        place.extend(bounds.as_object().cloned().unwrap_or_default());
    }
    schema["$defs"]["Label"]["properties"]["colour_index"]["items"]["maxLength"] =
        json!(file::LONGEST_TEXT);
    plain_descriptions(&mut schema);
    // A paint that is not modelled may have no constants; every other has all of them.
    schema["if"] = json!({"properties": {
        "state": {"const": "not_modelled"}, "absorption": {"maxItems": 0}, "scattering": {"maxItems": 0},
    }});
    schema["else"] = json!({"properties": {"absorption": bands(1e6), "scattering": bands(1e6)}});
    schema
}

/// Descriptions are doc comments: takes rustdoc's links out of them.
fn plain_descriptions(value: &mut Value) {
    match value {
        Value::Object(fields) => {
            if let Some(Value::String(words)) = fields.get_mut("description") {
                *words = words.replace("[`", "`").replace("`]", "`");
            }
            fields.values_mut().for_each(plain_descriptions);
        }
        Value::Array(items) => items.iter_mut().for_each(plain_descriptions),
        _ => {}
    }
}

#[test]
fn schema_is_in_step_with_the_types() {
    let now = serde_json::to_string_pretty(&schema()).expect("a schema is JSON") + "\n";
    if std::env::var_os("TWOGROUND_WRITE_SCHEMA").is_some() {
        fs::write(FILE, &now).expect("the schema is written");
    }
    let kept = fs::read_to_string(FILE).expect("the schema is there");
    assert!(
        kept == now,
        "the schema is out of step; write it again: TWOGROUND_WRITE_SCHEMA=1 cargo test --lib schema"
    );
}

/// A record with something in every field.
fn record() -> Value {
    let films = 2;
    let rows = 2 * BANDS + films;
    let factor: Vec<Vec<f64>> = (0..rows)
        .map(|i| (0..=i).map(|j| if i == j { 0.1 } else { 0.01 }).collect())
        .collect();
    let last = vec![0.05; rows + 1];
    json!({
        "format": file::FORMAT,
        "version": file::VERSION,
        "paint": {
            "name": "Marsh brown", "maker": "none, simulated", "colour_index": ["PBr0"], "binder": "linseed oil", "batch": "1",
            "drawn_on": "2026-05-01", "lightfastness": "not tested", "notes": "<b>text</b>, never markup",
        },
        "basis": Basis {
            channels_to_xyz: Some([[0.4, 0.4, 0.2], [0.2, 0.7, 0.1], [0.0, 0.1, 0.7]]),
            ..crate::reading::basis(0.4, crate::card::tones::Tones::SCANNER)
        },
        "absorption": vec![0.5; BANDS],
        "scattering": vec![0.1; BANDS],
        "uncertainty": {"lower_factor": factor, "anisotropy_row": last, "log_absorption_sd": vec![0.1; BANDS], "log_scattering_sd": vec![0.1; BANDS]},
        "stripes": {
            "white_xyz": [0.8, 0.83, 0.7], "black_xyz": [0.03, 0.03, 0.03], "white_spectrum": vec![0.83; BANDS],
            "black_spectrum": vec![0.03; BANDS], "sealed": true,
        },
        "reference_film": 0,
        "films": [{"build": 1.0, "build_sd": 0.0}, {"build": 2.1, "build_sd": 0.2}],
        "cells": [{
            "film": 1, "ground": "white", "xyz": [0.3, 0.25, 0.1], "sd": [0.001, 0.001, 0.001], "fitted_xyz": [0.3, 0.25, 0.1],
            "de00": 0.2, "pixels": 4000, "rejected_share": 0.01, "clipped_share": 0.3,
            "clipped_channels": [[0.3, 0.0, 0.0], [0.0, 0.0, 0.0], [0.001, 0.001, 0.001]],
        }],
        "surface": "satin",
        "dry": "yes",
        "gauge": "one layer of tape",
        "film_weight": 40.0,
        "state": "known",
        "opacity": {
            "milk_on_black": 0.5, "milk_sd": 0.4, "grade": "slightly milky", "contrast_ratio": [0.1, 0.2], "hiding_build": 12.0,
            "masstone_lab": [20.0, 10.0, 12.0], "undertone_lab": [60.0, 20.0, 40.0],
        },
        "coats": [
            {"way": "brush", "coats": 1.0, "film": 1, "from": "the card"},
            {
                "way": "rag", "coats": 0.5, "over": {"lab": [60.0, 1.0, 2.0], "lab_sd": [0.5, 0.5, 0.5], "surface": "matt"},
                "painted": {"lab": [40.0, 20.0, 2.0], "lab_sd": [0.5, 0.5, 0.5], "surface": "glossy"}, "from": "Harbour",
            },
        ],
        "tints": [{
            "with": {"name": "foam white", "maker": "", "binder": "linseed oil", "batch": "1"}, "parts": 1.0, "with_parts": 10.0, "by": "weight",
            "colour": {"lab": [70.0, 20.0, 2.0], "lab_sd": [0.5, 0.5, 0.5], "surface": "satin"}, "from": "a scrap",
        }],
        "findings": [{"code": "thin", "words": "Draw it thicker."}],
        "provenance": {
            "file_name": "marsh.png", "size": [600, 400], "depth": 16, "profile": "sRGB", "scanner": "three_lights", "when": "2026-05-02T10:00:00Z",
            "program": "twoground 0.1.0",
        },
    })
}

/// Every object and list of a document, and everything in them, by JSON pointer.
fn places(value: &Value, path: &str, found: &mut Vec<String>) {
    let escaped = |key: &str| key.replace('~', "~0").replace('/', "~1");
    match value {
        Value::Object(fields) => {
            for (key, inner) in fields {
                let path = format!("{path}/{}", escaped(key));
                places(inner, &path, found);
                found.push(path);
            }
        }
        // The items of a list are alike: the first and the last will do.
        Value::Array(items) => {
            for i in [0, items.len().saturating_sub(1)] {
                if let Some(inner) = items.get(i) {
                    let path = format!("{path}/{i}");
                    places(inner, &path, found);
                    found.push(path);
                }
            }
        }
        _ => {}
    }
}

/// The document with one place changed to each of many values, or taken away.
fn variants(document: &Value) -> Vec<(String, Value)> {
    let mut found = Vec::new();
    places(document, "", &mut found);
    let long = "x".repeat(file::LONGEST_TEXT + 1);
    let values = [
        json!(null),
        json!(true),
        json!(-1),
        json!(0),
        json!(0.5),
        json!(1),
        json!(2),
        json!(31),
        json!(10_000_000),
        json!(""),
        json!("clear"),
        json!("known"),
        json!("not_modelled"),
        json!(long),
        json!([]),
        json!([1.0]),
        json!(vec![0.5; 3]),
        json!(vec![0.5; BANDS]),
        json!(vec![0.0; BANDS]),
        json!(vec![5.0; BANDS]),
        json!(vec!["a"; 100]),
        json!([[1.0, 0.1]]),
        json!({}),
        json!({"more": 1}),
    ];
    let mut all = Vec::new();
    for path in found {
        for value in &values {
            let mut changed = document.clone();
            *changed.pointer_mut(&path).expect("a place of the document") = value.clone();
            all.push((format!("{path} = {value}"), changed));
        }
        let (parent, key) = path.rsplit_once('/').expect("a pointer");
        let mut changed = document.clone();
        match changed.pointer_mut(parent).expect("its parent") {
            Value::Object(fields) => drop(fields.shift_remove(key)),
            Value::Array(items) => drop(items.remove(key.parse::<usize>().expect("an index"))),
            _ => unreachable!("only objects and lists hold something"),
        }
        all.push((format!("without {path}"), changed));
    }
    all
}

#[test]
fn reading_and_schema_agree() {
    let text = fs::read_to_string(FILE).expect("the schema is there");
    let schema: Value = serde_json::from_str(&text).expect("the schema is JSON");
    let validator = jsonschema::validator_for(&schema).expect("the schema is a JSON Schema");
    let whole = record();
    let mut bare = whole.clone();
    for (field, value) in [
        ("state", json!("not_modelled")),
        ("absorption", json!([])),
        ("scattering", json!([])),
        (
            "uncertainty",
            json!({"lower_factor": [], "anisotropy_row": [], "log_absorption_sd": [], "log_scattering_sd": []}),
        ),
    ] {
        bare[field] = value;
    }
    let (mut accepted, mut refused, mut only_reading) = (0, 0, Map::new());
    for document in [&whole, &bare] {
        assert!(
            validator.is_valid(document),
            "{:?}",
            validator.iter_errors(document).next()
        );
        let read = Record::read(&document.to_string()).expect("a whole record is read");
        let written: Value =
            serde_json::from_str(&read.write()).expect("a record is written as JSON");
        assert_eq!(&written, document);
        for (change, document) in variants(document) {
            match (
                Record::read(&document.to_string()),
                validator.is_valid(&document),
            ) {
                (Ok(read), true) => {
                    accepted += 1;
                    // Whatever was read is written in step with the schema again.
                    let written: Value = serde_json::from_str(&read.write()).expect("JSON");
                    assert!(
                        validator.is_valid(&written),
                        "{change}: {:?}",
                        validator.iter_errors(&written).next()
                    );
                }
                (Err(_), false) => refused += 1,
                (Ok(_), false) => panic!(
                    "{change}: read, but against the schema: {:?}",
                    validator.iter_errors(&document).next()
                ),
                (Err(error), true) => drop(only_reading.insert(change, json!(error.to_string()))),
            }
        }
    }
    // What a schema cannot say: how fields hang together.
    for (change, error) in &only_reading {
        let known = [
            "reference_film is",
            "].film is",
            "lower_factor",
            "anisotropy_row is",
        ];
        assert!(
            known
                .iter()
                .any(|part| error.as_str().is_some_and(|e| e.contains(part))),
            "{change}: {error}"
        );
    }
    assert!(
        accepted > 100 && refused > 1000,
        "{accepted} accepted, {refused} refused"
    );
}

#[test]
fn schema_has_a_plain_name() {
    let id = schema()["$id"].as_str().map(str::to_owned).expect("a name");
    assert!(
        Path::new(&id).components().count() == 1 && !id.contains(':'),
        "{id}"
    );
}
