//! The runbook: alerts lead to its headings, and what it says to type can be typed.

use std::collections::BTreeSet;

use conformance::program::run_well;

use super::text;

/// The headings as links name them: lower case, hyphens for spaces, nothing else.
fn headings(runbook: &str) -> BTreeSet<String> {
    let titles = runbook
        .lines()
        .filter_map(|line| line.trim_start_matches('#').strip_prefix(' ').filter(|_| line.starts_with('#')));
    titles
        .map(|title| {
            let kept = title.chars().filter(|c| c.is_alphanumeric() || matches!(c, ' ' | '-'));
            kept.collect::<String>().to_lowercase().replace(' ', "-")
        })
        .collect()
}

#[test]
fn each_alert_leads_to_a_heading_that_names_it() {
    let (runbook, alerts) = (text("runbook.md"), text("alerts.yaml"));
    let headings = headings(&runbook);
    let mut count = 0;
    for alert in alerts.split("- alert: ").skip(1) {
        let name = alert.lines().next().unwrap();
        let heading = alert.split("runbook: ").nth(1).unwrap().split('}').next().unwrap();
        assert!(headings.contains(heading), "{name} leads to {heading:?}, which is none of {headings:?}");
        assert!(runbook.contains(name), "{name} is not told");
        count += 1;
    }
    assert_eq!(count, 15);
}

#[test]
fn its_links_lead_somewhere() {
    let runbook = text("runbook.md");
    let headings = headings(&runbook);
    let links: Vec<_> = runbook.split("](#").skip(1).map(|rest| rest.split(')').next().unwrap()).collect();
    assert!(links.len() > 5);
    for link in links {
        assert!(headings.contains(link), "{link}");
    }
}

/// Every `tenths …` in it: the command exists, and so does each of its options.
#[test]
fn its_commands_are_the_programs() {
    let runbook = text("runbook.md").replace('\n', " ");
    let mut seen = BTreeSet::new();
    for code in runbook.split('`').skip(1).step_by(2).filter_map(|code| code.strip_prefix("tenths ")) {
        let is_command = |word: &&str| {
            word.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'-') && !word.starts_with('-')
        };
        let command: Vec<_> = code.split_whitespace().take_while(is_command).collect();
        let help = run_well(command.iter().copied().chain(["--help"]));
        for option in code.split_whitespace().filter(|word| word.starts_with("--")) {
            assert!(help.contains(option), "tenths {code}: {help}");
        }
        seen.insert(command.join(" "));
    }
    for needed in ["backup", "restore", "keys rotate", "keys reseal", "keys new-seal-key", "platform approve"]
    {
        assert!(seen.contains(needed), "{needed}: {seen:?}");
    }
}

/// The checks that it explains are names that refused launches tell, by the messages that say them.
#[test]
fn its_checks_are_those_of_launches() {
    let folder = conformance::tools::root().join("service/locales/en-US");
    let messages: String = std::fs::read_dir(folder)
        .unwrap()
        .map(|file| std::fs::read_to_string(file.unwrap().path()).unwrap())
        .collect();
    let runbook = text("runbook.md");
    let table = runbook.split("| check | mostly |").nth(1).unwrap().split("\n\n").next().unwrap();
    let checks = table
        .lines()
        .filter_map(|row| row.split('|').nth(1))
        .flat_map(|cell| cell.split('`').skip(1).step_by(2));
    let mut count = 0;
    for check in checks {
        let message = format!("\nrefusals-{} = ", check.replace('_', "-"));
        assert!(messages.contains(&message), "{check}");
        count += 1;
    }
    assert!(count >= 8, "{count}");
}
