//! Comma-separated tables under `tests/data/tables`.
#![allow(unreachable_pub, missing_docs, dead_code, reason = "shared by test programs that use different parts")]

/// Rows of a table without its heading, as text.
pub fn rows(name: &str) -> Vec<Vec<String>> {
    let path = format!(
        "{}/tests/data/tables/{name}.csv",
        env!("CARGO_MANIFEST_DIR")
    );
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    text.lines()
        .skip(1)
        .map(|line| line.split(',').map(str::to_owned).collect())
        .collect()
}

/// The same as numbers.
pub fn numbers(name: &str) -> Vec<Vec<f64>> {
    rows(name)
        .iter()
        .map(|row| {
            row.iter()
                .map(|v| v.parse().unwrap_or_else(|e| panic!("{name}: {v}: {e}")))
                .collect()
        })
        .collect()
}

/// Asserts that two numbers agree within `tolerance`, absolute below 1 and relative above.
#[track_caller]
pub fn close(ours: f64, theirs: f64, tolerance: f64, what: &str) {
    assert!(
        (ours - theirs).abs() <= tolerance * theirs.abs().max(1.0),
        "{what}: {ours} against {theirs}"
    );
}
