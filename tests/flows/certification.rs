//! The certification view in DEVELOPERS.md names tests that there are.

use conformance::tools;

#[test]
fn every_test_that_the_certification_view_names_exists() {
    let text = std::fs::read_to_string(tools::root().join("DEVELOPERS.md")).unwrap();
    let (_, view) = text.split_once("## Certification view").unwrap();
    let (view, _) = view.split_once("\n## ").unwrap();
    let named: Vec<_> = view.split('`').filter_map(|part| part.split_once("::")).collect();
    assert!(named.len() >= 20, "{named:?}");
    for (file, test) in named {
        let source = std::fs::read_to_string(tools::root().join(file));
        let source = source.unwrap_or_else(|error| panic!("{file}: {error}"));
        assert!(source.contains(&format!("fn {test}(")), "{file} has no {test}");
    }
}
