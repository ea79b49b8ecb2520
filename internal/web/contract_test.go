package web

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"

	"earshot/internal/desk"
)

// contract is where the documents lie that the page's tests read too.
const contract = "../../testdata/contract"

// TestContract holds the samples against the Go types, both ways: they are what
// the types are written as, and what is read from them is what was written.
// UPDATE=1 rewrites them.
func TestContract(t *testing.T) {
	for name, v := range lesson() {
		b, err := json.MarshalIndent(v, "", "  ")
		if err != nil {
			t.Fatal(err)
		}
		b = append(b, '\n')
		path := filepath.Join(contract, name+".json")
		if os.Getenv("UPDATE") != "" {
			if err := os.WriteFile(path, b, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(b, want) {
			t.Errorf("%s is not what the types are written as; UPDATE=1 takes them as right:\n%s", path, b)
		}
		back := reflect.New(reflect.TypeOf(v))
		d := json.NewDecoder(bytes.NewReader(want))
		d.DisallowUnknownFields()
		if err := d.Decode(back.Interface()); err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		if !reflect.DeepEqual(back.Elem().Interface(), v) {
			t.Errorf("%s: read back as %+v", path, back.Elem().Interface())
		}
	}
}

// The samples hang together: whoever is named is there.
func TestContractHangsTogether(t *testing.T) {
	s := lessonState()
	kind := map[string]string{}
	for _, r := range s.Recordings {
		kind[r.ID] = r.Kind
		if (r.Kind == "clip") != (r.Picture != nil) {
			t.Errorf("%s is a %q and its picture is %v", r.Name, r.Kind, r.Picture)
		}
	}
	for _, k := range s.Takes {
		if kind[k.ID] != "clip" || kind[k.Sound] != "sound" {
			t.Errorf("take %s of a %q with a %q", k.ID, kind[k.ID], kind[k.Sound])
		}
		for _, o := range k.Others {
			if kind[o] != "sound" || o == k.Sound {
				t.Errorf("take %s has the other sound %s", k.ID, o)
			}
		}
	}
	for _, c := range s.Marriage.Clips {
		if !slices.ContainsFunc(s.Takes, func(k desk.Take) bool { return k.ID == c.Take }) {
			t.Errorf("the marriage names %s", c.Take)
		}
	}
	d := lessonDetail()
	if i := slices.IndexFunc(s.Takes, func(k desk.Take) bool { return k.ID == d.Take.ID }); i < 0 || !reflect.DeepEqual(s.Takes[i], d.Take) {
		t.Errorf("the detail's take is not the state's")
	}
	if strip := lessonStrip(); strip.Middle >= len(strip.Frames) {
		t.Errorf("frame %d of %d", strip.Middle, len(strip.Frames))
	}
}
