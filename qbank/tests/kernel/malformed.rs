//! Malformed family files: each kind of fault is told with line, column and what was expected, and nothing panics.
use qbank::family::{Family, FamilyErrors};

/// A family without fault; each case changes one thing in it.
const WHOLE: &str = r#"family = "trial"
version = 1
standards = ["5.NBT.B.7"]
misconceptions = ["add-right-edge", "add-two-whole-numbers"]

[[given]]
name = "a"
from = "1.1"
to = "9.9"
ends = "nonzero"
digits = { ones = "1-8" }
unit = "kg"

[[given]]
name = "b"
values = ["0.75", "1.25"]
unit = "kg"

[[given]]
name = "c"
is = "a + b"
places = 2

[[given]]
name = "shown"
mistaken = "a + b"
by = ["add-right-edge", "add-two-whole-numbers"]

[[require]]
relation = "a > b"
[[require]]
any = ["a > 2", "b > 1"]
[[require]]
of = "a + b"
carries = [0, 3]

[[step]]
id = "total"
kind = "number"
expression = "a + b"
unit = "kg"
accept = { rule = "absolute", tolerance = "0" }

[[step]]
id = "sign"
kind = "choice"
control = true
expression = "a ? b"

[[step]]
id = "larger"
kind = "choice"
control = true
choices = ["a", "b"]
expression = "max(a, b)"

[[step]]
id = "order"
kind = "order"
control = true
expression = "ascending(a, b, c)"

[[step]]
id = "mistake"
kind = "choice"
control = true
expression = "shown"

[words]
person = ["Ada", "Ben"]

[text.en-US]
title = "A title"
stem = ["{person} and {person2} carry {a} and {b:number}, {c}, {shown}."]
[text.en-US.prompt]
total = "How much?"
sign = "Which sign?"
larger = "Which is more?"
order = "In order?"
mistake = "What went wrong?"
[text.en-US.choice]
add-right-edge = "Right edge."
add-two-whole-numbers = "Two numbers."
"#;

/// One change: what is replaced, by what, where the fault must be told (the start of this text in the changed file),
/// and words of the message.
struct Case(&'static str, &'static str, &'static str, &'static str);

const CASES: &[Case] = &[
    // The file as TOML.
    Case("version = 1", "version = ", "\nstandards", "must be quoted"),
    Case("version = 1", "version = \"one\"", "\"one\"", "invalid type"),
    Case("version = 1", "version = -1", "-1", "invalid value"),
    Case("version = 1", "edition = 1", "edition", "unknown field"),
    Case("family = \"trial\"\n", "", "version", "missing field `family`"),
    Case("title = \"A title\"", "title = 77", "77", "invalid type"),
    Case("title = \"A title\"", "title = \"A title\"\nsubtitle = \"x\"", "subtitle", "unknown field"),
    Case("kind = \"number\"", "kind = \"essay\"", "\"essay\"", "unknown variant"),
    Case("ends = \"nonzero\"", "ends = \"round\"", "\"round\"", "unknown variant"),
    Case("[words]", "[words", "\nperson", "unclosed table"),
    // Names, versions, codes.
    Case("family = \"trial\"", "family = \"other\"", "\"other\"", "named like its file"),
    Case("version = 1", "version = 0", "0\nstandards", "versions count from 1"),
    Case("\"5.NBT.B.7\"", "\"5 NBT\"", "\"5 NBT\"", "no curriculum code"),
    Case(
        "\"add-right-edge\", \"add-two-whole-numbers\"]\n\n[[given]]",
        "\"add-magic\"]\n\n[[given]]",
        "\"add-magic\"",
        "no misconception 'add-magic'",
    ),
    Case("name = \"a\"", "name = \"A\"", "\"A\"", "is no name"),
    Case("name = \"b\"", "name = \"a\"", "\"a\"\nvalues", "used twice"),
    Case("id = \"sign\"", "id = \"total\"", "\"total\"\nkind = \"choice\"", "used twice"),
    Case("id = \"total\"", "id = \"2nd\"", "\"2nd\"", "is no name"),
    // Givens.
    Case("from = \"1.1\"\n", "", "\"a\"", "a given needs one of"),
    Case("from = \"1.1\"", "from = \"1,1\"", "\"1,1\"", "expected digits"),
    Case("to = \"9.9\"", "to = \"9.95\"", "\"9.95\"", "same number of places"),
    Case("to = \"9.9\"", "to = \"0.9\"", "\"0.9\"", "must not be below"),
    Case("values = [\"0.75\", \"1.25\"]", "values = []", "[]", "at least one number"),
    Case("values = [\"0.75\", \"1.25\"]", "values = [\"0.75\", \"x\"]", "\"x\"", "expected digits"),
    Case(
        "values = [\"0.75\", \"1.25\"]",
        "values = [\"0.75\"]\nstep = \"0.5\"",
        "\"0.5\"",
        "'step' goes with",
    ),
    Case(
        "values = [\"0.75\", \"1.25\"]",
        "values = [\"0.75\"]\nends = \"nonzero\"",
        "\"nonzero\"\nunit",
        "'ends' goes with",
    ),
    Case(
        "values = [\"0.75\", \"1.25\"]",
        "values = [\"0.75\"]\ndigits = { ones = \"1\" }",
        "ones = \"1\" }\nunit",
        "'digits' goes with",
    ),
    Case("ends = \"nonzero\"", "step = \"0\"", "\"0\"\ndigits", "above zero"),
    Case("to = \"9.9\"\nends = \"nonzero\"", "to = \"9999.9\"\nstep = \"0.1\"", "\"0.1\"", "larger step"),
    Case("ones = \"1-8\"", "oneths = \"1-8\"", "oneths", "no place of this given"),
    Case("ones = \"1-8\"", "hundredths = \"1-8\"", "hundredths", "no place of this given"),
    Case("ones = \"1-8\"", "ones = \"8-1\"", "\"8-1\"", "no set of digits"),
    Case("ones = \"1-8\"", "tens = \"1\"", "\"a\"", "no number to draw"),
    Case(
        "unit = \"kg\"\n\n[[given]]\nname = \"b\"",
        "unit = \"stone\"\n\n[[given]]\nname = \"b\"",
        "\"stone\"",
        "is no unit",
    ),
    Case("is = \"a + b\"", "is = \"a + d\"", "\"a + d\"", "'d' is neither a given"),
    Case("is = \"a + b\"", "is = \"a ? b\"", "\"a ? b\"\nplaces", "not a comparison"),
    Case(
        "values = [\"0.75\", \"1.25\"]",
        "values = [\"0.75\"]\nplaces = 2",
        "\"b\"",
        "'places' goes with 'is'",
    ),
    Case(
        "by = [\"add-right-edge\", \"add-two-whole-numbers\"]",
        "by = [\"add-right-edge\"]",
        "\"a + b\"\nby",
        "two or more misconceptions",
    ),
    Case(
        "is = \"a + b\"\nplaces = 2",
        "is = \"a + b\"\nby = [\"add-right-edge\"]",
        "\"add-right-edge\"]\n\n[[given]]\nname = \"shown\"",
        "'by' goes with 'mistaken'",
    ),
    // Requirements.
    Case("relation = \"a > b\"", "relation = \"a and b\"", "\"a and b\"", "a relation"),
    Case("relation = \"a > b\"", "relation = \"a > total2\"", "\"a > total2\"", "neither a given"),
    Case("relation = \"a > b\"", "relation = \"a > (b\"", "\"a > (b\"", "expected ')'"),
    Case(
        "relation = \"a > b\"",
        "relation = \"a > b\"\nof = \"a + b\"",
        "[[require]]\nrelation",
        "a requirement is one of",
    ),
    Case("any = [\"a > 2\", \"b > 1\"]", "any = [\"a > 2\"]", "[[require]]\nany", "two or more relations"),
    Case(
        "carries = [0, 3]",
        "exchanges = [0, 3]",
        "\"a + b\"\nexchanges",
        "exchanges and across_zero with a difference",
    ),
    Case("carries = [0, 3]", "", "[[require]]\nof", "a requirement is one of"),
    // Steps.
    Case(
        "expression = \"a + b\"",
        "expression = \"a + * b\"",
        "\"a + * b\"",
        "expected a number, a name or '('",
    ),
    Case("expression = \"a + b\"", "expression = \"sqrt(a)\"", "\"sqrt(a)\"", "unknown function"),
    Case(
        "expression = \"a + b\"",
        "expression = \"later + b\"",
        "\"later + b\"",
        "neither a given nor an earlier step",
    ),
    Case("expression = \"a + b\"", "expression = \"a ? b\"", "\"number\"", "needs a value"),
    Case("expression = \"max(a, b)\"", "expression = \"max(a)\"", "\"max(a)\"", "two or more values"),
    Case("expression = \"max(a, b)\"", "expression = \"round(a, b)\"", "\"round(a, b)\"", "places"),
    Case(
        "choices = [\"a\", \"b\"]",
        "choices = [\"a\"]",
        "\"choice\"\ncontrol = true\nchoices",
        "two or more givens",
    ),
    Case("choices = [\"a\", \"b\"]", "choices = [\"a\", \"x\"]", "\"x\"", "neither a given"),
    Case(
        "expression = \"ascending(a, b, c)\"",
        "expression = \"a + b + c\"",
        "\"order\"\ncontrol",
        "ascending",
    ),
    Case(
        "expression = \"ascending(a, b, c)\"",
        "expression = \"ascending(a, b, c + 1)\"",
        "\"order\"\ncontrol",
        "ascending",
    ),
    Case("unit = \"kg\"\naccept", "unit = \"kgs\"\naccept", "\"kgs\"", "is no unit"),
    Case(
        "unit = \"kg\"\naccept",
        "unit = \"kg\"\npoints = 0\naccept",
        "0\naccept",
        "points must be from 1 to 1000",
    ),
    Case(
        "unit = \"kg\"\naccept",
        "unit = \"kg\"\npoints = 1001\naccept",
        "1001\naccept",
        "points must be from 1 to 1000",
    ),
    Case("tolerance = \"0\"", "tolerance = \"-1\"", "{ rule", "must not be negative"),
    Case("rule = \"absolute\", tolerance = \"0\"", "rule = \"roughly\"", "{ rule", "unknown variant"),
    Case(
        "tolerance = \"0\"",
        "tolerence = \"0.5\"",
        "{ rule",
        "'tolerence' does not belong to rule 'absolute'",
    ),
    Case("tolerance = \"0\"", "tolerance = \"0\", places = 1", "{ rule", "expected tolerance beside it"),
    Case(
        "rule = \"absolute\", tolerance = \"0\"",
        "rule = \"interval\", from = \"5\", to = \"4.9\"",
        "{ rule",
        "must not be below its 'from'",
    ),
    Case(
        "rule = \"absolute\", tolerance = \"0\"",
        "rule = \"rounded\", figures = 0",
        "{ rule",
        "figures must be 1",
    ),
    Case(
        "rule = \"absolute\", tolerance = \"0\"",
        "rule = \"relative\", percent = \"-5\"",
        "{ rule",
        "percent must not be negative",
    ),
    Case(
        "rule = \"absolute\", tolerance = \"0\"",
        "rule = \"rounded\", places = 1, ties = \"odd\"",
        "{ rule",
        "unknown variant `odd`",
    ),
    Case(
        "tolerance = \"0\" }",
        "tolerance = \"0\" }\nform = { figures = 0 }",
        "{ figures",
        "figures of 1 or more",
    ),
    Case(
        "tolerance = \"0\" }",
        "tolerance = \"0\" }\nform = { decimal = true, lowest_terms = true }",
        "{ decimal",
        "not for both",
    ),
    Case("tolerance = \"0\" }", "tolerance = \"0\" }\nform = { plases = 2 }", "plases", "unknown field"),
    Case(
        "tolerance = \"0\" }",
        "tolerance = \"0\" }\nform = { credit = \"some\" }",
        "\"some\"",
        "unknown variant",
    ),
    // Texts.
    Case("total = \"How much?\"\n", "", "\"A title\"", "step 'total' has no prompt"),
    Case(
        "total = \"How much?\"",
        "total = \"How much?\"\nextra = \"What?\"",
        "\"What?\"",
        "there is no step 'extra'",
    ),
    Case("{b:number}", "{b:loud}", "\"{person} and", ":number, :words or :article"),
    Case("{b:number}", "{b|one}", "\"{person} and", "agreement needs two words"),
    Case("{b:number}", "{thing}", "\"{person} and", "neither a given nor a list"),
    Case("{b:number}", "{person:words}", "\"{person} and", "needs a given"),
    Case("{person2}", "{person3}", "\"{person} and", "a list of enough words"),
    Case("{shown}.", "{shown.", "\"{person} and", "never closed"),
    Case("{shown}.", "shown}.", "\"{person} and", "without a {"),
    Case("add-right-edge = \"Right edge.\"\n", "", "\"A title\"", "has no label"),
    Case(
        "add-right-edge = \"Right edge.\"",
        "add-right-edge = \"Right edge.\"\nother = \"Other.\"",
        "\"Other.\"",
        "is no mistake of a given",
    ),
];

fn errors(text: &str) -> FamilyErrors {
    match Family::from_toml("trial", text) {
        Ok(_) => panic!("no fault was found in\n{text}"),
        Err(errors) => errors,
    }
}

/// Line and column of a text's first occurrence, from 1, counted in characters.
fn place(text: &str, of: &str) -> (usize, usize) {
    let at = text.find(of).unwrap_or_else(|| panic!("'{of}' is not in the changed file"));
    let before = &text[..at];
    (before.matches('\n').count() + 1, before.rsplit('\n').next().unwrap().chars().count() + 1)
}

#[test]
fn the_whole_family_has_no_fault() {
    Family::from_toml("trial", WHOLE).unwrap_or_else(|errors| panic!("{errors}"));
}

#[test]
fn each_fault_is_told_with_its_place_and_what_was_expected() {
    assert!(CASES.len() >= 40);
    let mut wrong = Vec::new();
    for Case(from, to, at, message) in CASES {
        assert!(WHOLE.contains(from), "'{from}' is not in the whole family");
        let text = WHOLE.replacen(from, to, 1);
        let (line, column) = place(&text, at);
        let found = errors(&text);
        let told = found
            .faults
            .iter()
            .any(|fault| (fault.line, fault.column) == (line, column) && fault.message.contains(message));
        if !told {
            wrong.push(format!("'{from}' -> '{to}': expected {line}:{column} '{message}', found\n{found}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}

#[test]
fn all_faults_are_told_at_once_in_the_order_of_the_file() {
    let text = WHOLE
        .replace("version = 1", "version = 0")
        .replace("to = \"9.9\"", "to = \"9.95\"")
        .replace("expression = \"max(a, b)\"", "expression = \"max(a, d)\"");
    let found = errors(&text);
    let lines: Vec<usize> = found.faults.iter().map(|fault| fault.line).collect();
    assert_eq!(lines.len(), 3, "{found}");
    assert!(lines.is_sorted(), "{found}");
    assert!(found.to_string().starts_with("trial:2:11: versions count from 1"), "{found}");
}

#[test]
fn an_unknown_locale_is_told_where_it_stands() {
    let text = WHOLE.replace("[text.en-US", "[text.xx-XX");
    let (line, column) = place(&text, "xx-XX");
    let found = errors(&text).to_string();
    assert!(found.contains(&format!("trial:{line}:{column}: 'xx-XX' is no locale")), "{found}");
}

#[test]
fn faults_that_belong_to_no_line_name_the_file() {
    let never = WHOLE.replace("relation = \"a > b\"", "relation = \"a > 100\"");
    assert!(
        errors(&never).to_string().contains("trial: no good question can be drawn"),
        "{}",
        errors(&never)
    );
    let silent = WHOLE
        .replace("misconceptions = [\"add-right-edge\", \"add-two-whole-numbers\"]", "misconceptions = []");
    assert!(
        errors(&silent).to_string().contains("step 'total' predicts no wrong answer"),
        "{}",
        errors(&silent)
    );
}

#[test]
fn the_family_of_the_developers_guide_draws_at_once() {
    let guide = include_str!("../../../DEVELOPERS.md");
    let (_, how_to) = guide.split_once("## How a family is written").unwrap();
    let (_, text) = how_to.split_once("```toml\n").unwrap();
    let (text, _) = text.split_once("```").unwrap();
    let family = Family::from_toml("gravel-bags", text).unwrap_or_else(|errors| panic!("{errors}"));
    let item = family.draws("guide", 0, "en-US").next().unwrap().unwrap();
    assert!(item.steps[0].predicted.len() >= 2);
}
