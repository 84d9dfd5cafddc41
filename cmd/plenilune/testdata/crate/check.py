"""Reads a pack as any program would that knows RO-Crate and nothing of plenilune: check.py PACK CONTEXT.

The requirements are those of RO-Crate 1.1 (root and descriptor), Process Run Crate 0.5 and Workflow Run Crate 0.5."""
import base64
import hashlib
import json
import re
import sys
import zipfile

import rdflib
from pyld import jsonld

pack, context = sys.argv[1:]
z = zipfile.ZipFile(pack)
assert z.testzip() is None
doc = json.loads(z.read("ro-crate-metadata.json"))
refs = [c for c in doc["@context"] if isinstance(c, str)]
assert refs == ["https://w3id.org/ro/crate/1.1/context", "https://w3id.org/ro/terms/workflow-run/context"], refs
own = {}
for c in doc["@context"]:
    if isinstance(c, dict):
        own.update(c)
terms = json.load(open(context))["@context"]
terms.update(own)

# Every term is one that the context knows, and the graph is flat.
ids = {}
for e in doc["@graph"]:
    assert e["@id"] not in ids, "two entities are called " + e["@id"]
    ids[e["@id"]] = e
    for key, value in e.items():
        assert key in ("@id", "@type") or key in terms, "the context lacks " + key
        for v in value if isinstance(value, list) else [value]:
            assert not isinstance(v, dict) or set(v) == {"@id"}, "an entity is nested in " + e["@id"]
for e in doc["@graph"]:
    for key, value in e.items():
        for v in value if isinstance(value, list) else [value]:
            if isinstance(v, dict) and not re.match(r"https?://", v["@id"]):
                assert v["@id"] in ids, f'{e["@id"]} {key} names {v["@id"]}, which is not described'

local = {"@context": terms, "@graph": doc["@graph"]}
base = "http://crate.invalid/"
expanded = jsonld.expand(local, {"base": base})
flat = jsonld.flatten(expanded)
assert len(flat) == len(set(f["@id"] for f in flat)) == len(ids) + len(
    {f["@id"] for f in flat} - {jsonld.prepend_base(base, i) for i in ids}), "flattening changes the number of entities"

g = rdflib.Graph()
g.parse(data=jsonld.to_rdf(expanded, {"format": "application/n-quads"}), format="nt")
S, B = rdflib.Namespace("http://schema.org/"), rdflib.Namespace("https://bioschemas.org/")
D = rdflib.Namespace("http://purl.org/dc/terms/")
root, U = rdflib.URIRef(base), rdflib.URIRef


def one(s, p):
    found = list(g.objects(s, p))
    assert len(found) == 1, f"{s} has {len(found)} {p}"
    return found[0]


# RO-Crate 1.1: the descriptor, and what the root must have.
descriptor = U(base + "ro-crate-metadata.json")
assert one(descriptor, S.about) == root
assert U("https://w3id.org/ro/crate/1.1") in set(g.objects(descriptor, D.conformsTo))
assert (root, rdflib.RDF.type, S.Dataset) in g
for p in (S.name, S.description, S.datePublished, S.license):
    one(root, p)
assert re.fullmatch(r"\d{4}-\d\d-\d\d", str(one(root, S.datePublished)))

# The profiles that it says it keeps to.
kept = set(map(str, g.objects(root, D.conformsTo)))
for p in ("https://w3id.org/ro/wfrun/process/0.5", "https://w3id.org/ro/wfrun/workflow/0.5", "https://w3id.org/workflowhub/workflow-ro-crate/1.0"):
    assert p in kept, p
    assert (U(p), rdflib.RDF.type, S.CreativeWork) in g
workflow = one(root, S.mainEntity)
for t in (S.MediaObject, S.SoftwareSourceCode, B.ComputationalWorkflow):
    assert (workflow, rdflib.RDF.type, t) in g, t
one(workflow, S.programmingLanguage)

# Runs: an action with what it was done by, what it was made from, and what came of it.
runs = list(g.query("""SELECT ?a ?i ?r WHERE { ?a a schema:CreateAction ; schema:instrument ?i ; schema:result ?r .
    ?i a <https://bioschemas.org/ComputationalWorkflow> }""", initNs={"schema": S}))
assert runs and {r.i for r in runs} == {workflow}
action = runs[0].a
assert (root, S.mentions, action) in g
objects, results = set(g.objects(action, S.object)), set(g.objects(action, S.result))
assert objects and results
for way, things in (("input", objects), ("output", results)):
    params = set(g.objects(workflow, B["ComputationalWorkflow#" + way]))
    assert params
    for p in params:
        assert (p, rdflib.RDF.type, B.FormalParameter) in g
        one(p, S.additionalType)
    for f in things:
        assert set(g.objects(f, S.exampleOfWork)) & params, f
tools = set(g.objects(workflow, S.hasPart))
assert len(tools) > 3
for t in tools:
    assert (t, rdflib.RDF.type, S.SoftwareApplication) in g
    one(t, S.version)
one(one(workflow, S.softwareRequirements), S.softwareVersion)

# Files: each that the archive holds is a part of the crate, and content is what is said of it.
parts = {str(p) for p in g.objects(root, S.hasPart)}
for name in z.namelist():
    if name not in ("ro-crate-metadata.json", "ro-crate-preview.html"):
        assert base + name in parts, name
for f in g.subjects(rdflib.RDF.type, S.MediaObject):
    assert str(f) in parts, f
    said = [str(x) for x in g.objects(f, S.sha256)]
    if str(f).startswith(base) and said:
        b = z.read(str(f)[len(base):])
        assert said == [hashlib.sha256(b).hexdigest()], f
        assert str(one(f, S.contentSize)) == str(len(b)), f
    if str(f).startswith("ni:///sha-256;"):  # RFC 6920
        digest = base64.urlsafe_b64decode(str(f)[len("ni:///sha-256;"):] + "=")
        assert said == [digest.hex()], f
print(len(g), "triples,", len(objects), "objects,", len(results), "results")
