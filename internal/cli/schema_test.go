package cli

import (
	"context"
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"earshot/internal/app"
	"earshot/internal/shoot"
)

// schema compiles docs/pair.schema.json, which also holds it against the
// metaschema of JSON Schema 2020-12.
func schema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	text, err := os.ReadFile("../../docs/pair.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(string(text)))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("pair.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("pair.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// valid holds text against the schema.
func valid(t *testing.T, s *jsonschema.Schema, text string) error {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return s.Validate(v)
}

func TestPairKeepsItsSchema(t *testing.T) {
	s := schema(t)
	full := day(nasty())
	full.Takes[0].Claps = []shoot.Clap{{Clip: 1, Sound: 13.3}}
	full.Takes[0].Through = []string{"CAM_B/D0001.MP4"}
	full.Takes[0].Seam = shoot.Seam{Median: 0.1, P95: 0.2, Max: 0.3}
	for name, d := range map[string]shoot.Document{"empty": {}, "full": full} {
		_, stdout, _ := run(context.Background(), &fake{pair: &app.PairResult{Document: d}}, "pair", "--json", here(t))
		if err := valid(t, s, stdout); err != nil {
			t.Errorf("%s: %v\n%s", name, err, stdout)
		}
	}
}

// The schema lets nothing pass that is not in the document's Go type.
func TestSchemaRefuses(t *testing.T) {
	s := schema(t)
	text, err := json.Marshal(whole(sureDay()))
	if err != nil {
		t.Fatal(err)
	}
	for _, change := range [][2]string{
		{`"version":1`, `"version":2`},
		{`"alone":[`, `"lonely":[`},
		{`"offset_s":12.34568`, `"offset_s":"12.34568"`},
		{`"verdict":"sure"`, `"verdict":"alone"`},
		{`"drift_from":"take"`, `"drift_from":"clock"`},
		{`"clip_s":[0,60]`, `"clip_s":[0]`},
		{`"kind":"sound"`, `"kind":"picture"`},
		{`"claps":[]`, `"claps":null`},
		{`"why":[`, `"score":1,"why":[`},
		{`"why":[`, `"through":[],"why":[`},
		{`"why":[`, `"through":"D0001.MP4","why":[`},
	} {
		bad := strings.Replace(string(text), change[0], change[1], 1)
		if bad == string(text) {
			t.Errorf("%s is not in the document:\n%s", change[0], text)
		} else if valid(t, s, bad) == nil {
			t.Errorf("passes with %s", change[1])
		}
	}
}
