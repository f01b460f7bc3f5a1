//! Reads the General Decimal Arithmetic test cases (M. F. Cowlishaw), files named `*.decTest`.
//!
//! A file is lines of directives, which hold from where they stand to the next of their name, and of cases:
//! `addx007 add '0.7' '0.3' -> 1.0`. This reader knows the form only; what the cases mean, and which of them concern
//! school numbers, is the business of the test that uses them. The files are never part of this project.
use std::{
    collections::BTreeMap,
    path::{Path, PathBuf},
};

/// One case, with the directives in force where it stands.
#[derive(Clone, Debug)]
pub struct Case {
    /// Its name, unique in all files.
    pub id: String,
    /// What is done, in lower case.
    pub operation: String,
    /// Numerals as written, without quotes.
    pub operands: Vec<String>,
    /// The expected numeral as written, without quotes.
    pub result: String,
    /// Flags that the operation raises, in lower case: `inexact`, `rounded` …
    pub conditions: Vec<String>,
    directives: BTreeMap<String, String>,
}

impl Case {
    /// The value of a directive, in lower case; empty where none is in force.
    #[must_use]
    pub fn directive(&self, name: &str) -> &str {
        self.directives.get(name).map_or("", String::as_str)
    }

    /// The most digits that a result may have.
    ///
    /// # Panics
    /// If the file gave no precision before the case, which the format does not allow.
    #[must_use]
    pub fn precision(&self) -> usize {
        self.directive("precision").parse().unwrap_or_else(|_| panic!("{} has no precision", self.id))
    }

    /// Whether the result was rounded to another value.
    #[must_use]
    pub fn is_inexact(&self) -> bool {
        self.conditions.iter().any(|condition| condition == "inexact")
    }
}

/// The folder of the files: `DECTEST_DIR`, else where Debian's package `libpython3.*-testsuite` puts them.
#[must_use]
pub fn folder() -> Option<PathBuf> {
    if let Some(named) = std::env::var_os("DECTEST_DIR") {
        return Some(PathBuf::from(named));
    }
    let versions = std::fs::read_dir("/usr/lib").ok()?.filter_map(Result::ok).map(|entry| entry.path());
    versions.map(|version| version.join("test/decimaltestdata")).filter(|folder| folder.is_dir()).max()
}

/// All cases of a folder, file by file in the order of names; an empty folder has none.
///
/// # Errors
/// A sentence with file and line if a folder or file cannot be read, or a line is neither directive nor case.
pub fn read_folder(folder: &Path) -> Result<Vec<Case>, String> {
    let listed = std::fs::read_dir(folder).map_err(|error| format!("{}: {error}", folder.display()))?;
    let mut files: Vec<PathBuf> = listed.filter_map(Result::ok).map(|entry| entry.path()).collect();
    files.retain(|file| file.extension().is_some_and(|extension| extension == "decTest"));
    files.sort();
    let mut cases = Vec::new();
    for file in files {
        let bytes = std::fs::read(&file).map_err(|error| format!("{}: {error}", file.display()))?;
        // Some comments are not UTF-8; cases are ASCII.
        let text = String::from_utf8_lossy(&bytes);
        cases.extend(read(&text).map_err(|error| format!("{}: {error}", file.display()))?);
    }
    Ok(cases)
}

/// The cases of one file.
///
/// # Errors
/// A sentence with the line that is neither directive nor case.
pub fn read(text: &str) -> Result<Vec<Case>, String> {
    let mut directives = BTreeMap::new();
    let mut cases = Vec::new();
    for (index, line) in text.lines().enumerate() {
        let words = words(line);
        let wrong = || format!("line {}: neither a directive nor a case: {line}", index + 1);
        match directive(&words) {
            Some((name, value)) => {
                directives.insert(name, value);
            }
            None if words.is_empty() => {}
            None => cases.push(case(&words, &directives).ok_or_else(wrong)?),
        }
    }
    Ok(cases)
}

/// `name: value`, `name:value` or `name : value`.
fn directive(words: &[String]) -> Option<(String, String)> {
    if words.iter().any(|word| word == "->") {
        return None;
    }
    let joined = words.concat();
    let (name, value) = joined.split_once(':')?;
    Some((name.to_lowercase(), value.to_lowercase()))
}

fn case(words: &[String], directives: &BTreeMap<String, String>) -> Option<Case> {
    let arrow = words.iter().position(|word| word == "->")?;
    let [id, operation, operands @ ..] = &words[..arrow] else { return None };
    let (result, conditions) = words[arrow + 1..].split_first()?;
    Some(Case {
        id: id.clone(),
        operation: operation.to_lowercase(),
        operands: operands.to_vec(),
        result: result.clone(),
        conditions: conditions.iter().map(|condition| condition.to_lowercase()).collect(),
        directives: directives.clone(),
    })
}

/// The words of a line up to its comment `--`. A word in quotes may hold blanks, and a doubled quote for one.
fn words(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut rest = line.trim_start();
    while !rest.is_empty() && !rest.starts_with("--") {
        let (word, after) = match rest.chars().next() {
            Some(quote @ ('\'' | '"')) => quoted(&rest[1..], quote),
            _ => {
                let end = rest.find(char::is_whitespace).unwrap_or(rest.len());
                (rest[..end].to_string(), &rest[end..])
            }
        };
        words.push(word);
        rest = after.trim_start();
    }
    words
}

fn quoted(text: &str, quote: char) -> (String, &str) {
    let mut word = String::new();
    let mut rest = text;
    while let Some((piece, after)) = rest.split_once(quote) {
        word += piece;
        match after.strip_prefix(quote) {
            Some(more) => {
                word.push(quote);
                rest = more;
            }
            None => return (word, after),
        }
    }
    (word + rest, "")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn directives_hold_from_where_they_stand() {
        let text = "Precision: 9\n-- a comment\nrounding:half_up\nx1 add '1' \"2\" -> '3' -- said\n\
                    precision : 3\nx2 multiply 1.25 1e3 -> 1.25E+3 Inexact Rounded\nx3 toSci 'it''s --' -> NaN";
        let cases = read(text).unwrap();
        assert_eq!(cases.iter().map(Case::precision).collect::<Vec<_>>(), [9, 3, 3]);
        assert_eq!((cases[0].operands.concat(), cases[0].result.as_str()), ("12".into(), "3"));
        assert!(cases[0].conditions.is_empty() && cases[1].is_inexact());
        assert_eq!(cases[1].directive("rounding"), "half_up");
        assert_eq!(cases[2].operands, ["it's --"]);
    }

    #[test]
    fn names_a_line_that_is_no_case() {
        assert!(read("precision: 9\nx1 add 1 2 3").unwrap_err().starts_with("line 2"));
    }
}
