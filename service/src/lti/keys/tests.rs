//! Keys over time, and sealed: against a store in memory and a clock that the test sets.

use std::sync::Arc;

use serde_json::{Value, json};

use super::rotation::{self, OVERLAP_MS, RotationError, Stage};
use super::*;
use crate::clock::SettableClock;
use crate::storage::{self, NewRegistration, ToolKey};

/// A store with one registered platform.
struct Shop {
    storage: Arc<dyn Storage>,
    clock: Arc<SettableClock>,
    platform: RegistrationId,
}

impl Shop {
    async fn open() -> Self {
        let storage = storage::open("sqlite::memory:").unwrap();
        let clock = Arc::new(SettableClock::at("2026-03-02T08:05:00Z".parse().unwrap()));
        let mut shop = Self { storage, clock, platform: RegistrationId(0) };
        shop.platform = shop.register("client-1").await;
        shop
    }

    async fn register(&self, client_id: &str) -> RegistrationId {
        let address = |path: &str| format!("https://platform.example.org/{path}").parse().unwrap();
        let new = NewRegistration {
            issuer: "https://platform.example.org".to_owned(),
            client_id: client_id.into(),
            authorization_url: address("authorize"),
            token_url: address("token"),
            keys_url: address("keys"),
            audience: None,
            deployments: ["d1".into()].into(),
        };
        self.storage.put_registration(new, &self.change()).await.unwrap().id
    }

    fn change(&self) -> Change {
        Change { at: self.clock.now(), by: Actor::CommandLine }
    }

    async fn load(&self, seal_key: Option<&SealKey>) -> Result<ToolKeys, KeySetError> {
        ToolKeys::load(self.storage.clone(), self.clock.clone(), seal_key.cloned()).await
    }

    /// A key without an owner, as stores from before keys had owners hold it.
    async fn add_shared_key(&self) -> String {
        let key = key_pair::make(None, self.clock.now(), Timestamp::UNIX_EPOCH, None).await.unwrap();
        let kid = key.kid.clone();
        assert!(self.storage.add_first_tool_key(key, &self.change()).await.unwrap());
        kid
    }

    async fn rotate(&self, seal_key: Option<&SealKey>, overlap_ms: i64) -> Result<String, RotationError> {
        let owner = Some(self.platform);
        rotation::rotate(self.storage.as_ref(), seal_key, owner, overlap_ms, &self.change()).await
    }

    async fn stages(&self) -> Vec<Stage> {
        let keys = self.storage.tool_keys().await.unwrap();
        keys.iter().map(|key| rotation::stage(key, &keys, self.clock.now())).collect()
    }

    async fn stored(&self) -> Vec<ToolKey> {
        self.storage.tool_keys().await.unwrap()
    }
}

async fn published(keys: &ToolKeys) -> Vec<String> {
    let set = keys.public_set().await;
    set["keys"].as_array().unwrap().iter().map(|key| key["kid"].as_str().unwrap().to_owned()).collect()
}

/// Signs with the key of the platform, checks that with another library and the published set, and returns the key.
async fn signed_with(keys: &ToolKeys, platform: RegistrationId) -> String {
    let token = keys.signer(platform).await.unwrap().sign(&json!({ "iss": "client-1" }));
    let set: jsonwebtoken::jwk::JwkSet = serde_json::from_value(keys.public_set().await).unwrap();
    let kid = jsonwebtoken::decode_header(&token).unwrap().kid.unwrap();
    let mut rules = jsonwebtoken::Validation::new(jsonwebtoken::Algorithm::RS256);
    rules.required_spec_claims.clear();
    let key = jsonwebtoken::DecodingKey::from_jwk(set.find(&kid).expect("it is published")).unwrap();
    jsonwebtoken::decode::<Value>(&token, &key, &rules).unwrap();
    kid
}

/// Security Framework 7.2: no key pair for more than one other system.
#[tokio::test]
async fn each_registration_signs_with_a_key_of_its_own() {
    let shop = Shop::open().await;
    let keys = shop.load(None).await.unwrap();
    let first = signed_with(&keys, shop.platform).await;
    // One that is added while the service runs gets its key when it is needed.
    let other = shop.register("client-2").await;
    let second = signed_with(&keys, other).await;
    assert_ne!(first, second);
    assert_eq!(signed_with(&keys, shop.platform).await, first);
    assert_eq!(published(&keys).await.len(), 2);
    assert!(matches!(keys.signer(RegistrationId(99)).await, Err(KeySetError::NoKey)));
}

#[tokio::test]
async fn a_first_key_that_one_process_signs_with_is_published_by_the_others_at_once() {
    let shop = Shop::open().await;
    let (here, there) = (shop.load(None), shop.load(None));
    let (here, there) = tokio::join!(here, there);
    let (here, there) = (here.unwrap(), there.unwrap());
    assert_eq!(published(&here).await, published(&there).await, "of both that make a key at once, one does");
    let platform = shop.register("client-2").await;
    let kid = signed_with(&here, platform).await;
    assert!(published(&there).await.contains(&kid));
    assert_eq!(signed_with(&there, platform).await, kid);
}

#[tokio::test]
async fn a_new_key_is_published_before_it_signs_and_the_old_one_after() {
    let shop = Shop::open().await;
    let keys = shop.load(None).await.unwrap();
    let old = signed_with(&keys, shop.platform).await;
    shop.clock.advance_ms(1);
    let new = shop.rotate(None, OVERLAP_MS).await.unwrap();
    assert!(matches!(shop.rotate(None, OVERLAP_MS).await, Err(RotationError::UnderWay { .. })));

    // The running service notices, and publishes.
    shop.clock.advance_ms(RELOAD_AFTER_MS);
    assert_eq!(published(&keys).await.len(), 2);
    assert_eq!(signed_with(&keys, shop.platform).await, old);
    assert_eq!(shop.stages().await, [Stage::Signing, Stage::Waiting]);

    shop.clock.advance_ms(OVERLAP_MS);
    assert_eq!(signed_with(&keys, shop.platform).await, new);
    assert_eq!(published(&keys).await.len(), 2, "what the old key signed can still be checked");
    assert_eq!(shop.stages().await, [Stage::Leaving, Stage::Signing]);

    shop.clock.advance_ms(OVERLAP_MS);
    assert_eq!(published(&keys).await, std::slice::from_ref(&new));
    keys.tend().await.unwrap();
    assert_eq!(shop.stages().await, [Stage::Retired, Stage::Signing]);
    assert_eq!(shop.stored().await[0].private, PrivateKey::Erased);
    assert_eq!(signed_with(&keys, shop.platform).await, new);
}

#[tokio::test]
async fn a_key_that_others_know_can_be_replaced_at_once() {
    let shop = Shop::open().await;
    let keys = shop.load(None).await.unwrap();
    let old = signed_with(&keys, shop.platform).await;
    let refused = rotation::retire(shop.storage.as_ref(), &old, shop.clock.now(), &shop.change()).await;
    assert!(matches!(refused, Err(RotationError::Needed(_))));
    let waiting = shop.rotate(None, OVERLAP_MS).await.unwrap();
    let new = shop.rotate(None, 0).await.unwrap();
    assert_eq!(new, waiting, "the key that waits is taken");
    rotation::retire(shop.storage.as_ref(), &old, shop.clock.now(), &shop.change()).await.unwrap();
    keys.tend().await.unwrap();
    assert_eq!(signed_with(&keys, shop.platform).await, new);
    assert_eq!(published(&keys).await, [new]);
    let unknown = rotation::retire(shop.storage.as_ref(), &old, shop.clock.now(), &shop.change()).await;
    assert!(matches!(unknown, Err(RotationError::Unknown(_))));
}

#[tokio::test]
async fn a_shared_key_of_earlier_versions_signs_until_the_own_one_was_published_long_enough() {
    let shop = Shop::open().await;
    let shared = shop.add_shared_key().await;
    let keys = shop.load(None).await.unwrap();
    assert_eq!(signed_with(&keys, shop.platform).await, shared);
    assert_eq!(published(&keys).await.len(), 2);
    shop.clock.advance_ms(OVERLAP_MS);
    let own = signed_with(&keys, shop.platform).await;
    assert_ne!(own, shared);
    rotation::retire(shop.storage.as_ref(), &shared, shop.clock.now(), &shop.change()).await.unwrap();
    keys.tend().await.unwrap();
    assert_eq!(published(&keys).await, [own]);
}

#[tokio::test]
async fn keys_that_are_not_sealed_are_sealed_at_start_and_open_with_that_key_only() {
    let shop = Shop::open().await;
    let kid = signed_with(&shop.load(None).await.unwrap(), shop.platform).await;
    let PrivateKey::Plain(pkcs8) = shop.stored().await.remove(0).private else { panic!("not sealed yet") };

    let (right, wrong) = (SealKey::random(), SealKey::random());
    assert_eq!(signed_with(&shop.load(Some(&right)).await.unwrap(), shop.platform).await, kid);
    let PrivateKey::Sealed { by, bytes } = shop.stored().await.remove(0).private else { panic!("sealed") };
    assert_eq!(by, right.name());
    assert!(!bytes.windows(32).any(|part| pkcs8.windows(32).any(|plain| plain == part)));

    let told = |result: Result<ToolKeys, KeySetError>| result.err().map(|error| error.to_string());
    let refused = told(shop.load(Some(&wrong)).await).unwrap();
    assert!(refused.contains(right.name()) && refused.contains(wrong.name()), "{refused}");
    let refused = told(shop.load(None).await).unwrap();
    assert!(refused.contains("TENTHS_SEAL_KEY"), "{refused}");
    // Nor is a key made for a platform that has none, or by a rotation.
    shop.register("client-2").await;
    for key in [None, Some(&wrong)] {
        assert!(shop.load(key).await.is_err());
        assert!(matches!(shop.rotate(key, 0).await, Err(RotationError::Keys(_))));
    }
    assert_eq!(shop.stored().await.len(), 1);
    shop.load(Some(&right)).await.unwrap();
    assert!(shop.stored().await.iter().all(|key| matches!(key.private, PrivateKey::Sealed { .. })));
}

#[tokio::test]
async fn a_sealed_key_does_not_open_under_another_name() {
    let shop = Shop::open().await;
    let seal_key = SealKey::random();
    shop.register("client-2").await;
    shop.load(Some(&seal_key)).await.unwrap();
    let [first, second] = shop.stored().await.try_into().unwrap();
    let swapped = Resealed { kid: first.kid.clone(), from: first.private, to: second.private };
    assert!(shop.storage.reseal_tool_keys(vec![swapped], &shop.change()).await.unwrap());
    let refused = shop.load(Some(&seal_key)).await.err();
    assert!(matches!(refused, Some(KeySetError::Unreadable { kid }) if kid == first.kid));
}

#[tokio::test]
async fn the_seal_key_is_changed_for_all_keys_at_once() {
    let shop = Shop::open().await;
    let (first, second) = (SealKey::random(), SealKey::random());
    let kid = signed_with(&shop.load(Some(&first)).await.unwrap(), shop.platform).await;
    let reseal = async |from: Option<&SealKey>| {
        rotation::reseal(shop.storage.as_ref(), from, &second, &shop.change()).await
    };
    assert!(matches!(reseal(None).await, Err(KeySetError::SealKeyMissing { .. })));
    assert_eq!(reseal(Some(&first)).await.unwrap(), 1);
    assert!(matches!(shop.load(Some(&first)).await, Err(KeySetError::SealKeyWrong { .. })));
    assert_eq!(signed_with(&shop.load(Some(&second)).await.unwrap(), shop.platform).await, kid);
}
