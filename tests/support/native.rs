//! What the command reads from a scan, to compare with what a browser reads from it.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};

use crate::Folder;

pub(crate) fn json_file(path: &Path) -> Value {
    let text = fs::read_to_string(path).expect("the file is there");
    serde_json::from_str(&text).expect("the file is JSON")
}

/// The record that the command reads from a scan, without label and time.
pub(crate) fn native_record(scan: &Path) -> Value {
    native_record_by(scan, "unknown")
}

/// The same, the kind of scanner told.
pub(crate) fn native_record_by(scan: &Path, scanner: &str) -> Value {
    let records = native_records(scan, scanner);
    assert_eq!(records.len(), 1, "one card, one file");
    records.into_iter().next().expect("one")
}

/// Those of all cards of a scan.
pub(crate) fn native_records(scan: &Path, scanner: &str) -> Vec<Value> {
    let folder = Folder::new("native");
    let output = Command::new(env!("CARGO_BIN_EXE_twoground"))
        .arg("read")
        .arg(scan)
        .args(["--scanner", scanner])
        .arg("--out")
        .arg(folder.path())
        .output()
        .expect("the program starts");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let files = fs::read_dir(folder.path()).expect("its folder").flatten();
    let mut files: Vec<PathBuf> = files.map(|file| file.path()).collect();
    files.sort();
    files
        .iter()
        .map(|file| unlabelled(json_file(file)))
        .collect()
}

/// A record without what only its reading knows.
pub(crate) fn unlabelled(mut record: Value) -> Value {
    record["paint"] = json!(null);
    record["provenance"]["when"] = json!(null);
    record
}
