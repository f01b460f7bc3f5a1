//! Result reports of other platforms, all versions: valid by the published schemas, and read.
use std::collections::BTreeMap;

use exporters::{
    qti::{Solution, from_item::map_item},
    results::{AssessmentResult, ItemResult, ResultsVersion, SessionStatus, read_results},
};
use qbank::bank;

use crate::schemas::assert_valid;

const V21: &str = include_str!("results/v21.xml");
const V22: &str = include_str!("results/v22.xml");
const V30: &str = include_str!("results/v30.xml");

fn read(report: &str) -> AssessmentResult {
    read_results(report.as_bytes()).unwrap()
}

fn responses(item: &ItemResult) -> Vec<(String, String)> {
    item.by_step().responses.into_iter().collect()
}

fn pairs<const N: usize>(pairs: [(&str, &str); N]) -> Vec<(String, String)> {
    pairs.map(|(step, response)| (step.to_owned(), response.to_owned())).into()
}

#[test]
fn the_reports_are_valid_by_the_published_schemas() {
    let reports = [("v21.xml", V21), ("v22.xml", V22), ("v30.xml", V30)];
    assert_valid(&reports.map(|(name, report)| (name, report.as_bytes())));
}

#[test]
fn a_report_of_version_3_0_is_read_by_step() {
    let report = read(V30);
    assert_eq!((report.version, report.pupil.as_deref()), (ResultsVersion::V30, Some("p-07")));
    assert_eq!(report.problems, []);
    let [adding, order, story, unfinished] = &report.items[..] else { panic!("{:?}", report.items) };
    assert_eq!(
        (adding.identifier.as_str(), adding.line, adding.status),
        ("ADDING", 10, SessionStatus::Final)
    );
    assert_eq!(adding.at, "2026-03-02T09:33:40.1Z".parse().unwrap());
    assert_eq!(responses(adding), pairs([("total", "15.40\u{A0}kg")]));
    assert_eq!(responses(order), pairs([("order", "B, A, C")]));
    assert!(order.status.is_complete());
    assert_eq!(responses(story), pairs([("sand", ""), ("water", "1.5")]));
    assert!(!unfinished.status.is_complete());
    assert!(report.items.iter().all(|item| item.by_step().strange.is_empty()));
}

#[test]
fn a_report_of_version_2_2_names_the_pupil_by_the_session() {
    let report = read(V22);
    assert_eq!((report.version, report.pupil.as_deref()), (ResultsVersion::V22, Some("p-08")));
    let [first, second, begun] = &report.items[..] else { panic!("{:?}", report.items) };
    assert!(first.at > second.at, "10:20 without a zone is UTC, 11:15+01:00 is earlier");
    assert_eq!(responses(first), pairs([("total", "later")]));
    assert_eq!(begun.status.name(), "initial");
}

#[test]
fn a_report_of_version_2_1_tells_variables_that_no_step_has() {
    let report = read(V21);
    assert_eq!((report.version, report.pupil.as_deref()), (ResultsVersion::V21, Some("p-09")));
    let read = report.items[0].by_step();
    assert_eq!(read.responses, BTreeMap::from([("total".into(), "12.5".into())]));
    assert_eq!(
        (read.strange[0].line, read.strange[0].reason.as_str()),
        (8, "the response variable 'MOOD' belongs to no step")
    );
}

#[test]
fn a_fault_in_one_item_takes_no_other_with_it() {
    let report = V30
        .replace("datestamp=\"2026-03-02T09:35:00Z\"", "datestamp=\"yesterday\"")
        .replace("sessionStatus=\"pendingSubmission\"", "sessionStatus=\"maybe\"");
    let report = read(&report);
    let problems: Vec<(u64, &str)> =
        report.problems.iter().map(|problem| (problem.line, problem.reason.as_str())).collect();
    assert_eq!(
        problems,
        [
            (26, "the datestamp 'yesterday' is no time; expected one as 2026-03-02T09:15:00Z"),
            (42, "the session status 'maybe' is unknown"),
        ]
    );
    assert_eq!(report.items.len(), 2);
}

#[test]
fn other_documents_are_refused() {
    for (report, said) in [
        (V30.replace("result_v3p0", "result_v4p0"), "line 3: found 'assessmentResult' of the namespace"),
        (V30.replace("</context>", "</contexts>"), "line 6: not well-formed XML"),
        (V30.replace("?>", "?><!DOCTYPE assessmentResult>"), "line 1: a DOCTYPE is not accepted"),
        (
            "<assessmentItem/>".into(),
            "line 1: found 'assessmentItem' of the namespace ''; expected 'assessmentResult' of QTI 2.1",
        ),
    ] {
        let error = read_results(report.as_bytes()).unwrap_err().to_string();
        assert!(error.starts_with(said), "{error}");
    }
}

/// Reports with bytes changed, left out and doubled by a generator of the simplest kind: read or refused, never worse.
#[test]
fn damaged_reports_are_read_or_refused() {
    let mut state = 11_u64;
    let mut draw = |below: usize| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(state >> 33).unwrap() % below
    };
    let mut refused = 0;
    for round in 0..3_000 {
        let mut report = [V21, V22, V30][round % 3].as_bytes().to_vec();
        for _ in 0..=draw(3) {
            let (at, to) = (draw(report.len()), draw(report.len()));
            match draw(4) {
                0 => report[at] = b"<>&;'\"/=! \xff\0"[draw(12)],
                1 => drop(report.drain(at.min(to)..at.max(to))),
                2 => report.truncate(at.max(1)),
                _ => {
                    let part = report[at.min(to)..at.max(to)].to_vec();
                    report.splice(at..at, part);
                }
            }
            if report.is_empty() {
                break;
            }
        }
        refused += usize::from(read_results(&report[..]).is_err());
    }
    assert!((1_000..3_000).contains(&refused), "{refused} of 3000 refused");
}

/// The names that exported items give their response variables are those that reports are read by.
#[test]
fn variables_of_exported_items_lead_back_to_their_steps() {
    for family in bank::families().unwrap() {
        let item = family.draws("results", 0, "en-US").next().unwrap().unwrap();
        let mapped = map_item(&item, Solution::Withheld, 1).unwrap().item;
        let variables = mapped.responses.iter().map(|declared| {
            let identifier = declared.identifier.as_str();
            format!(
                "<responseVariable identifier=\"{identifier}\"><candidateResponse><value>1</value></candidateResponse></responseVariable>"
            )
        });
        let report = format!(
            "<assessmentResult xmlns=\"http://www.imsglobal.org/xsd/imsqti_result_v3p0\"><itemResult identifier=\"{}\" \
             datestamp=\"2026-03-02T09:15:00Z\" sessionStatus=\"final\">{}</itemResult></assessmentResult>",
            mapped.identifier.as_str(),
            variables.collect::<String>()
        );
        let report = read(&report);
        let [result] = &report.items[..] else { panic!("{report:?}") };
        assert_eq!(result.identifier, item.id);
        let by_step = result.by_step();
        let mut steps: Vec<&str> = item.steps.iter().map(|step| step.id.as_str()).collect();
        steps.sort_unstable();
        assert_eq!(by_step.responses.keys().map(String::as_str).collect::<Vec<_>>(), steps);
        assert!(by_step.strange.is_empty());
    }
}
