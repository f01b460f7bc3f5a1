//! QTI 2.2: what only this version says (ASI 2.2.4, content packaging of QTI 2.2).
use super::{
    dialect::{Dialect, PackageDialect, Spelling},
    write::SCHEMA_INSTANCE,
};

/// The dialect of QTI 2.2.
pub const DIALECT: Dialect = Dialect {
    spelling: Spelling::Camel,
    namespace: "http://www.imsglobal.org/xsd/imsqti_v2p2",
    root: [
        ("xmlns", "http://www.imsglobal.org/xsd/imsqti_v2p2"),
        ("xmlns:xsi", SCHEMA_INSTANCE),
        (
            "xsi:schemaLocation",
            "http://www.imsglobal.org/xsd/imsqti_v2p2 http://www.imsglobal.org/xsd/qti/qtiv2p2/imsqti_v2p2p4.xsd",
        ),
    ],
    content_body: false,
    aria: true,
    catalog: false,
    package: PackageDialect {
        namespace: "http://www.imsglobal.org/xsd/imscp_v1p1",
        schema_location: "http://www.imsglobal.org/xsd/imscp_v1p1 http://www.imsglobal.org/xsd/qti/qtiv2p2/qtiv2p2_imscpv1p2_v1p0.xsd",
        schema_name: "QTIv2.2 Package",
        schema_version: "1.0.0",
        metadata_namespace: "http://www.imsglobal.org/xsd/imsqti_metadata_v2p2",
        scoring_mode: true,
        curriculum_namespace: Some("http://www.imsglobal.org/xsd/qti/qtiv2p2/imscsmd_v1p0"),
        case_item_uri: false,
        item_type: "imsqti_item_xmlv2p2",
        test_type: "imsqti_test_xmlv2p2",
        metadata_scheme: "QTIv2.2",
    },
};
