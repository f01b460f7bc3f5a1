//! Registrations, signing keys, invitations, pending deployments, tokens.

use super::*;

const HOUR: i64 = 60 * 60 * 1000;

fn at(ms: i64) -> Change {
    Change { at: later(ms), ..change() }
}

fn key(kid: &str, registration: Option<RegistrationId>, signs_from_ms: i64) -> ToolKey {
    ToolKey {
        kid: kid.to_owned(),
        registration,
        private: PrivateKey::Plain(vec![1, 2]),
        created_at: monday(),
        signs_from: later(signs_from_ms),
        retires_at: None,
    }
}

async fn actions(store: &dyn Storage) -> Vec<Action> {
    let all = AuditQuery { registration: None, placement: None, before: None, limit: 100 };
    store.audit(&all).await.unwrap().iter().map(|entry| entry.action).collect()
}

async fn registrations_keep_their_deployments(store: Arc<dyn Storage>) {
    let first = store.put_registration(registration("c1"), &change()).await.unwrap();
    let second = NewRegistration {
        deployments: ["d2".into()].into(),
        audience: Some("audience".to_owned()),
        ..registration("c1")
    };
    let again = store.put_registration(second, &change()).await.unwrap();
    assert_eq!(first.id, again.id);
    assert_eq!(again.platform.deployments, ["d1".into(), "d2".into()].into());
    assert_eq!(again.platform.audience.as_deref(), Some("audience"));
    store.put_registration(registration("c2"), &change()).await.unwrap();
    assert_eq!(store.registrations_of("https://platform.example.org").await.unwrap().len(), 2);
    assert_eq!(store.registrations_of("https://PLATFORM.example.org").await.unwrap(), []);
    assert_eq!(store.registration(again.id).await.unwrap(), Some(again.clone()));
    assert!(store.remove_registration(&again.platform.issuer, &"c1".into(), &change()).await.unwrap());
    assert!(!store.remove_registration(&again.platform.issuer, &"c1".into(), &change()).await.unwrap());
    assert_eq!(store.registration(again.id).await.unwrap(), None);
}

async fn every_change_of_a_registration_is_in_the_trail(store: Arc<dyn Storage>) {
    let by = |actor: &Actor| Change { at: monday(), by: actor.clone() };
    let (coordinator, platform) = (
        Actor::Token { role: ApiRole::Coordinator, id: Some("0123456789abcdef".to_owned()) },
        Actor::Platform { issuer: "https://platform.example.org".to_owned() },
    );
    let first = store.put_registration(registration("c1"), &by(&coordinator)).await.unwrap();
    // The same once more changes nothing, and is not noted.
    store.put_registration(registration("c1"), &by(&coordinator)).await.unwrap();
    let moved = NewRegistration {
        token_url: "https://platform.example.org/t2".parse().unwrap(),
        ..registration("c1")
    };
    store.put_registration(moved, &by(&platform)).await.unwrap();
    store.put_registration(registration("c2"), &by(&Actor::CommandLine)).await.unwrap();
    let issuer = first.platform.issuer.as_str();
    assert!(store.remove_registration(issuer, &"c1".into(), &by(&Actor::Service)).await.unwrap());
    assert!(!store.remove_registration(issuer, &"c1".into(), &by(&Actor::Service)).await.unwrap());

    let all = AuditQuery { registration: Some(first.id), placement: None, before: None, limit: 10 };
    let trail = store.audit(&all).await.unwrap();
    let told: Vec<_> = trail.iter().map(|entry| (entry.action, entry.change.by.clone())).collect();
    assert_eq!(
        told,
        [
            (Action::RegistrationRemoved, Actor::Service),
            (Action::RegistrationChanged, platform),
            (Action::RegistrationAdded, coordinator),
        ]
    );
    assert!(trail[1].detail.contains("tokens https://platform.example.org/t2"), "{}", trail[1].detail);
    let older =
        store.audit(&AuditQuery { before: Some(trail[1].id), limit: 1, ..all.clone() }).await.unwrap();
    assert_eq!(older, trail[2..]);
    assert_eq!(store.audit(&AuditQuery { registration: None, ..all }).await.unwrap().len(), 4);
}

async fn of_several_first_keys_of_a_registration_one_is_kept(store: Arc<dyn Storage>) {
    let first = store.put_registration(registration("c1"), &change()).await.unwrap().id;
    let second = store.put_registration(registration("c2"), &change()).await.unwrap().id;
    assert!(store.add_first_tool_key(key("a", Some(first), 0), &change()).await.unwrap());
    assert!(!store.add_first_tool_key(key("b", Some(first), 0), &change()).await.unwrap());
    assert!(store.add_first_tool_key(key("c", Some(second), 0), &change()).await.unwrap());
    let nobody = RegistrationId(first.0 + second.0);
    assert!(!store.add_first_tool_key(key("d", Some(nobody), 0), &change()).await.unwrap());
    assert_eq!(store.tool_keys().await.unwrap(), [key("a", Some(first), 0), key("c", Some(second), 0)]);
    // Keys go with their registration, and their names stay taken.
    let issuer = "https://platform.example.org";
    assert!(store.remove_registration(issuer, &"c1".into(), &at(5)).await.unwrap());
    let left = store.tool_keys().await.unwrap().remove(0);
    assert_eq!((left.kid.as_str(), left.private, left.retires_at), ("a", PrivateKey::Erased, Some(later(5))));
    assert_eq!(actions(store.as_ref()).await.iter().filter(|done| **done == Action::KeyErased).count(), 1);
}

async fn a_rotated_key_leaves_and_is_erased_in_time(store: Arc<dyn Storage>) {
    let owner = Some(store.put_registration(registration("c1"), &change()).await.unwrap().id);
    store.add_first_tool_key(key("old", owner, 0), &change()).await.unwrap();
    let new = key("new", owner, 24 * HOUR);
    assert_eq!(store.rotate_tool_key(new.clone(), later(48 * HOUR), &at(1)).await.unwrap(), Rotated::Begun);
    let third = key("third", owner, 25 * HOUR);
    let again = store.rotate_tool_key(third, later(49 * HOUR), &at(HOUR)).await.unwrap();
    assert_eq!(again, Rotated::UnderWay(new));
    // Without the new one, nothing would sign once the old one has left.
    assert_eq!(store.retire_tool_key("new", later(2), &at(2)).await.unwrap(), Retired::Needed);
    assert_eq!(store.retire_tool_key("old", later(2), &at(2)).await.unwrap(), Retired::Needed);
    assert_eq!(store.erase_retired_tool_keys(&at(47 * HOUR)).await.unwrap(), 0);
    assert_eq!(store.erase_retired_tool_keys(&at(48 * HOUR)).await.unwrap(), 1);
    assert_eq!(store.erase_retired_tool_keys(&at(48 * HOUR)).await.unwrap(), 0);
    let keys = store.tool_keys().await.unwrap();
    let kept: Vec<&str> =
        keys.iter().filter(|key| key.private != PrivateKey::Erased).map(|key| key.kid.as_str()).collect();
    assert_eq!(kept, ["new"]);
    assert_eq!(store.retire_tool_key("old", later(0), &at(49 * HOUR)).await.unwrap(), Retired::Unknown);
    assert_eq!(
        store.retire_tool_key("new", later(60 * HOUR), &at(49 * HOUR)).await.unwrap(),
        Retired::Needed
    );
}

async fn a_waiting_key_can_be_made_to_sign_at_once(store: Arc<dyn Storage>) {
    let owner = Some(store.put_registration(registration("c1"), &change()).await.unwrap().id);
    store.add_first_tool_key(key("old", owner, 0), &change()).await.unwrap();
    store.rotate_tool_key(key("new", owner, 24 * HOUR), later(48 * HOUR), &at(0)).await.unwrap();
    assert!(store.hasten_tool_key("new", later(25 * HOUR), &at(HOUR)).await.unwrap());
    assert!(!store.hasten_tool_key("new", later(25 * HOUR), &at(HOUR)).await.unwrap(), "it signs already");
    let keys = store.tool_keys().await.unwrap();
    let find = |kid: &str| keys.iter().find(|key| key.kid == kid).unwrap();
    assert_eq!(find("new").signs_from, later(HOUR));
    assert_eq!(find("old").retires_at, Some(later(25 * HOUR)));
    assert_eq!(store.retire_tool_key("old", later(HOUR), &at(HOUR)).await.unwrap(), Retired::Planned);
    assert_eq!(store.erase_retired_tool_keys(&at(HOUR)).await.unwrap(), 1);
}

async fn a_shared_key_stays_while_a_registration_needs_it(store: Arc<dyn Storage>) {
    store.add_first_tool_key(key("shared", None, 0), &change()).await.unwrap();
    let first = store.put_registration(registration("c1"), &change()).await.unwrap().id;
    store.put_registration(registration("c2"), &change()).await.unwrap();
    store.add_first_tool_key(key("a", Some(first), 0), &change()).await.unwrap();
    assert_eq!(store.retire_tool_key("shared", later(1), &at(1)).await.unwrap(), Retired::Needed);
    let issuer = "https://platform.example.org";
    store.remove_registration(issuer, &"c2".into(), &change()).await.unwrap();
    assert_eq!(store.retire_tool_key("shared", later(1), &at(1)).await.unwrap(), Retired::Planned);
}

async fn private_parts_are_exchanged_together_or_not_at_all(store: Arc<dyn Storage>) {
    let owner = Some(store.put_registration(registration("c1"), &change()).await.unwrap().id);
    store.add_first_tool_key(key("a", owner, 0), &change()).await.unwrap();
    store.add_first_tool_key(key("b", None, 0), &change()).await.unwrap();
    let sealed = |byte| PrivateKey::Sealed { by: "s".to_owned(), bytes: vec![byte] };
    let resealed = |kid: &str, from| Resealed { kid: kid.to_owned(), from, to: sealed(9) };
    let plain = PrivateKey::Plain(vec![1, 2]);
    let one_is_other = vec![resealed("a", plain.clone()), resealed("b", sealed(1))];
    assert!(!store.reseal_tool_keys(one_is_other, &change()).await.unwrap());
    assert!(store.tool_keys().await.unwrap().iter().all(|key| key.private == plain));
    let both = vec![resealed("a", plain.clone()), resealed("b", plain)];
    assert!(store.reseal_tool_keys(both, &change()).await.unwrap());
    assert!(store.tool_keys().await.unwrap().iter().all(|key| key.private == sealed(9)));
    assert_eq!(actions(store.as_ref()).await[0], Action::KeysSealed);
}

fn invitation(id: &str) -> Invitation {
    Invitation {
        id: id.to_owned(),
        secret: Fingerprint::of(id),
        note: "for the district".to_owned(),
        created_at: monday(),
        expires_at: later(HOUR),
        revoked_at: None,
        used_at: None,
        registration: None,
    }
}

async fn an_invitation_registers_one_platform(store: Arc<dyn Storage>) {
    store.add_invitation(invitation("i1"), &change()).await.unwrap();
    store.add_invitation(invitation("i2"), &change()).await.unwrap();
    let state = async |id: &str, ms| store.invitation(&Fingerprint::of(id), later(ms)).await.unwrap();
    let hold = async |ms, until| {
        store.hold_invitation(&Fingerprint::of("i1"), later(ms), later(until)).await.unwrap()
    };
    assert_eq!(state("i1", 0).await, InvitationState::Open(invitation("i1")));
    assert_eq!(state("nothing", 0).await, InvitationState::Unknown);
    assert_eq!(state("i1", HOUR).await, InvitationState::Expired);

    assert!(matches!(hold(0, 60).await, InvitationState::Open(_)));
    assert_eq!(hold(1, 61).await, InvitationState::Held);
    store.release_invitation("i1").await.unwrap();
    assert!(matches!(hold(2, 60).await, InvitationState::Open(_)));
    // A hold that nobody ended runs out.
    assert!(matches!(hold(60, 120).await, InvitationState::Open(_)));

    store.put_registration(registration("c0"), &change()).await.unwrap();
    let register =
        async |id, client| store.register_by_invitation(id, registration(client), &at(61)).await.unwrap();
    assert_eq!(register("i1", "c0").await, Registered::Known);
    let Registered::Stored(stored) = register("i1", "c1").await else { panic!("it was free") };
    assert_eq!(store.registration(stored).await.unwrap().unwrap().platform, registration("c1"));
    assert_eq!(register("i1", "c2").await, Registered::NotInvited);
    assert_eq!(state("i1", 62).await, InvitationState::Used);
    assert_eq!(store.registrations().await.unwrap().len(), 2);

    assert!(store.revoke_invitation("i2", &at(63)).await.unwrap());
    assert!(!store.revoke_invitation("i2", &at(63)).await.unwrap());
    assert!(!store.revoke_invitation("i1", &at(63)).await.unwrap(), "used up is used up");
    assert_eq!(state("i2", 64).await, InvitationState::Revoked);
    assert_eq!(register("i2", "c3").await, Registered::NotInvited);
    let list = store.invitations().await.unwrap();
    assert_eq!(list.iter().map(|known| known.registration).collect::<Vec<_>>(), [Some(stored), None]);
}

async fn a_new_deployment_waits_for_approval(store: Arc<dyn Storage>) {
    let known = store.put_registration(registration("c1"), &change()).await.unwrap();
    let (new, id) = (DeploymentId::from("d9"), known.id);
    assert!(!store.approve_deployment(id, &new, &change()).await.unwrap(), "nobody has seen it");
    store.hold_deployment(id, &new, &at(0)).await.unwrap();
    store.hold_deployment(id, &new, &at(7)).await.unwrap();
    let pending = store.pending_deployments().await.unwrap();
    let expected = PendingDeployment {
        registration: id,
        deployment: new.clone(),
        first_seen_at: later(0),
        last_seen_at: later(7),
    };
    assert_eq!(pending, [expected]);
    assert!(!store.registration(id).await.unwrap().unwrap().platform.deployments.contains(&new));
    assert!(store.approve_deployment(id, &new, &change()).await.unwrap());
    assert!(store.registration(id).await.unwrap().unwrap().platform.deployments.contains(&new));
    assert_eq!(store.pending_deployments().await.unwrap(), []);
    let done = actions(store.as_ref()).await;
    assert_eq!(done[..2], [Action::DeploymentApproved, Action::DeploymentHeld]);
    // Registering one by hand ends its waiting, too.
    store.hold_deployment(id, &"d10".into(), &at(0)).await.unwrap();
    let by_hand = NewRegistration { deployments: ["d10".into()].into(), ..registration("c1") };
    store.put_registration(by_hand, &change()).await.unwrap();
    assert_eq!(store.pending_deployments().await.unwrap(), []);
}

async fn invented_deployments_fill_nothing(store: Arc<dyn Storage>) {
    let id = store.put_registration(registration("c1"), &change()).await.unwrap().id;
    for number in 0..60 {
        store.hold_deployment(id, &DeploymentId(format!("invented-{number}")), &at(number)).await.unwrap();
    }
    assert_eq!(store.pending_deployments().await.unwrap().len(), 50);
    let held = actions(store.as_ref()).await;
    assert_eq!(held.iter().filter(|done| **done == Action::DeploymentHeld).count(), 50);
}

async fn tokens_are_listed_used_and_revoked(store: Arc<dyn Storage>) {
    let (token, secret) = ApiToken::new(ApiRole::Auditor, "for the auditor", monday(), Some(later(HOUR)));
    store.add_api_token(token.clone(), &change()).await.unwrap();
    let find = async || store.api_token(&Fingerprint::of(&secret)).await.unwrap().unwrap();
    assert_eq!(find().await, token);
    assert!(token.is_valid(later(HOUR - 1)) && !token.is_valid(later(HOUR)));
    let day = "2026-03-02".parse().unwrap();
    store.api_token_used(&token.id, day).await.unwrap();
    assert_eq!(find().await.last_used_on, Some(day));
    assert!(store.revoke_api_token(&token.id, &at(1)).await.unwrap());
    assert!(!store.revoke_api_token(&token.id, &at(1)).await.unwrap());
    assert!(!find().await.is_valid(later(2)));
    let (other, _) = ApiToken::new(ApiRole::Teacher, "", later(2), None);
    store.add_api_token(other.clone(), &at(2)).await.unwrap();
    assert!(other.is_valid(later(1000 * HOUR)));
    let list = store.api_tokens().await.unwrap();
    assert_eq!(list.iter().map(|known| known.id.as_str()).collect::<Vec<_>>(), [&other.id, &token.id]);
    assert_eq!(actions(store.as_ref()).await, [Action::TokenMade, Action::TokenRevoked, Action::TokenMade]);
}

on_every_store! {
    registrations_keep_their_deployments
    every_change_of_a_registration_is_in_the_trail
    of_several_first_keys_of_a_registration_one_is_kept
    a_rotated_key_leaves_and_is_erased_in_time
    a_waiting_key_can_be_made_to_sign_at_once
    a_shared_key_stays_while_a_registration_needs_it
    private_parts_are_exchanged_together_or_not_at_all
    an_invitation_registers_one_platform
    a_new_deployment_waits_for_approval
    invented_deployments_fill_nothing
    tokens_are_listed_used_and_revoked
}
