package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"earshot/internal/desk"
	"earshot/internal/fault"
	"earshot/internal/shoot"
)

// The limits of what may be asked.
const (
	maxBody  = 1 << 20 // bytes of a JSON body
	maxID    = 128     // letters of an id
	maxName  = 200     // bytes of a file's name, so that endings still fit in the 255 of most systems
	maxNote  = 20000   // bytes of a note
	maxPath  = 32 << 10
	maxTime  = 1e7 // seconds: four months
	maxDrift = 1e5 // parts per million
)

// bad is the error about a request that makes no sense.
func bad(what string, format string, args ...any) error {
	return &fault.Error{Kind: fault.Usage, Op: "understand " + what, Err: fmt.Errorf(format, args...)}
}

// isID reports whether a word may be an id: a few plain letters, digits and
// dashes, so that nothing of a path can be in it.
func isID(s string) bool {
	for _, r := range s {
		if !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_') {
			return false
		}
	}
	return s != "" && len(s) <= maxID
}

// ident is the id in a request's path.
func ident(r *http.Request, what string) (string, error) {
	id := r.PathValue("id")
	if !isID(id) {
		return "", missing(what, cut(id))
	}
	return id, nil
}

// cut shortens what is repeated in an error.
func cut(s string) string {
	if len(s) > 80 {
		return s[:80] + "..."
	}
	return s
}

// A query reads a request's parameters; the first that makes no sense is kept
// as its error. A parameter that nobody asks for is one.
type query struct {
	values url.Values
	err    error
}

func parse(r *http.Request) *query {
	v, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return &query{err: bad("the query", "it is not written as a query is")}
	}
	return &query{values: v}
}

// take returns a parameter and strikes it from the list.
func (q *query) take(name string) (s string, there bool) {
	v, there := q.values[name]
	delete(q.values, name)
	if !there {
		return "", false
	}
	if len(v) != 1 {
		q.fail(name, "it is there %d times", len(v))
		return "", false
	}
	return v[0], true
}

func (q *query) fail(name, format string, args ...any) {
	if q.err == nil {
		q.err = bad("the parameter "+fault.Quote(cut(name)), format, args...)
	}
}

// whole is a whole number from low to high, or or where it is not there.
func (q *query) whole(name string, or, low, high int64) int64 {
	s, there := q.take(name)
	if !there {
		return or
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n < low || n > high || strings.HasPrefix(s, "+") {
		q.fail(name, "%s is no whole number from %d to %d", fault.Quote(cut(s)), low, high)
		return or
	}
	return n
}

// number is a number from low to high, or 0 where it is not there.
func (q *query) number(name string, low, high float64) (x float64, there bool) {
	s, there := q.take(name)
	if !there {
		return 0, false
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || !(x >= low && x <= high) {
		q.fail(name, "%s is no number from %g to %g", fault.Quote(cut(s)), low, high)
		return 0, false
	}
	return x, true
}

// at is the moment asked for, in seconds; it has to be there.
func (q *query) at() float64 {
	x, there := q.number("at", 0, maxTime)
	if !there {
		q.fail("at", "it is not there")
	}
	return x
}

// id is an id, or "" where it is not there or empty.
func (q *query) id(name string) string {
	s, _ := q.take(name)
	if s != "" && !isID(s) {
		q.fail(name, "%s is no id", fault.Quote(cut(s)))
	}
	return s
}

// end returns the first error.
func (q *query) end() error {
	for name := range q.values {
		q.fail(name, "there is no such parameter here")
	}
	return q.err
}

// listenAsk reads what is to be listened to.
func listenAsk(q *query) (ask desk.ListenAsk, err error) {
	ask.From = q.whole("from", 0, 0, maxTime*48000)
	_, bounded := q.values["to"]
	ask.To = q.whole("to", 0, 0, maxTime*48000)
	if bounded && ask.To <= ask.From {
		q.fail("to", "it is not after from")
	}
	ask.Sound = q.id("sound")
	offset, placed := q.number("offset", -maxTime, maxTime)
	drift, drifts := q.number("drift", -maxDrift, maxDrift)
	switch {
	case placed:
		ask.Line = &shoot.Line{Offset: offset, Drift: drift}
	case drifts:
		q.fail("drift", "it says nothing without offset")
	}
	return ask, q.end()
}

// body reads a JSON body into v. Members that v does not know are refused; an
// empty body leaves v as it is.
func body(w http.ResponseWriter, r *http.Request, v any) error {
	c := http.NewResponseController(w)
	c.SetReadDeadline(time.Now().Add(bodyTime)) // fails only where the connection is gone
	b, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
	c.SetReadDeadline(time.Time{})
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return err
	case err != nil:
		return bad("the request", "it ends early")
	case len(bytes.TrimSpace(b)) == 0:
		return nil
	}
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return bad("the request", "%s", plain(err))
	}
	if _, err := d.Token(); err != io.EOF {
		return bad("the request", "something follows its document")
	}
	return nil
}

// plain is a fault of a JSON document in words that name no type of ours.
func plain(err error) string {
	var wrong *json.UnmarshalTypeError
	if errors.As(err, &wrong) {
		return fmt.Sprintf("%s cannot be a %s", fault.Quote(wrong.Field), wrong.Value)
	}
	return strings.TrimPrefix(err.Error(), "json: ")
}

// changeMembers are those of a word that may be changed.
var changeMembers = []string{"approved", "sound", "line", "refused", "name", "note"}

// change reads what a person says anew of a clip.
func change(w http.ResponseWriter, r *http.Request) (c desk.Change, err error) {
	var members map[string]json.RawMessage
	if err := body(w, r, &members); err != nil {
		return c, err
	}
	return changeOf(members)
}

// mostWords is of how many clips something may be said at once.
const mostWords = 5000

// changes reads what a person says anew of several clips.
func changes(w http.ResponseWriter, r *http.Request) ([]desk.Saying, error) {
	var ask struct {
		Words []struct {
			Take   string                     `json:"take"`
			Change map[string]json.RawMessage `json:"change"`
		} `json:"words"`
	}
	if err := body(w, r, &ask); err != nil {
		return nil, err
	}
	if n := len(ask.Words); n == 0 || n > mostWords {
		return nil, bad("the request", "it says something of %d clips; 1 to %d can be said at once", n, mostWords)
	}
	all := make([]desk.Saying, len(ask.Words))
	for i, said := range ask.Words {
		if !isID(said.Take) {
			return nil, bad("take", "%s is no id", fault.Quote(cut(said.Take)))
		}
		c, err := changeOf(said.Change)
		if err != nil {
			return nil, err
		}
		all[i] = desk.Saying{Take: said.Take, Change: c}
	}
	return all, nil
}

// changeOf reads the members of a change.
func changeOf(members map[string]json.RawMessage) (c desk.Change, err error) {
	for name := range members {
		if !slices.Contains(changeMembers, name) {
			return c, bad("the request", "a word has no %s", fault.Quote(cut(name)))
		}
	}
	if len(members) == 0 {
		return c, bad("the request", "it says nothing")
	}
	b, err := json.Marshal(members)
	if err != nil {
		return c, unwritten(err)
	}
	if err := json.Unmarshal(b, &c); err != nil {
		return c, bad("the request", "%s", plain(err))
	}
	return c, sensible(c)
}

// sensible looks through a change.
func sensible(c desk.Change) error {
	if c.Sound != nil && *c.Sound != "" && !isID(*c.Sound) {
		return missing("sound", cut(*c.Sound))
	}
	if c.Refused != nil {
		for _, id := range *c.Refused {
			if !isID(id) {
				return missing("sound", cut(id))
			}
		}
	}
	if c.Line != nil && *c.Line != nil {
		if l := **c.Line; math.Abs(l.Offset) > maxTime || math.Abs(l.Drift) > maxDrift {
			return bad("the line", "an offset is within %g s, a drift within %g ppm", maxTime, maxDrift)
		}
	}
	if c.Name != nil && *c.Name != "" {
		if err := fileName(*c.Name); err != nil {
			return err
		}
	}
	if c.Note != nil && len(*c.Note) > maxNote {
		return bad("the note", "it is longer than %d bytes", maxNote)
	}
	return nil
}

// reserved are the names that Windows keeps for devices, whatever ending
// follows.
var reserved = []string{"CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$",
	"COM0", "COM1", "COM2", "COM3", "COM4", "COM5", "COM6", "COM7", "COM8", "COM9", "COM¹", "COM²", "COM³",
	"LPT0", "LPT1", "LPT2", "LPT3", "LPT4", "LPT5", "LPT6", "LPT7", "LPT8", "LPT9", "LPT¹", "LPT²", "LPT³"}

// fileName refuses a name that is not plainly that of one visible file, on
// whichever system: with separators (the colon is one), control characters,
// dots or blanks at its ends, or reserved.
func fileName(name string) error {
	no := func(why string) error {
		return &fault.Error{Kind: fault.Usage, Op: "use the name", Subject: cut(name), Err: errors.New(why), Hint: "choose another name and try again"}
	}
	stem, _, _ := strings.Cut(name, ".")
	switch {
	case name == "":
		return no("it is empty")
	case len(name) > maxName:
		return no(fmt.Sprintf("it is longer than %d bytes", maxName))
	case !utf8.ValidString(name):
		return no("it is no text")
	case strings.ContainsFunc(name, unicode.IsControl):
		return no("it holds a control character")
	case strings.ContainsAny(name, `/\:`):
		return no("it holds a separator")
	case strings.HasPrefix(name, ".") || strings.HasSuffix(name, "."):
		return no("it begins or ends with a dot")
	case strings.TrimSpace(name) != name:
		return no("it begins or ends with a blank")
	case slices.Contains(reserved, strings.ToUpper(strings.TrimRight(stem, " "))):
		return no("some systems keep it for a device")
	}
	return nil
}

// targetPath refuses a path that is neither one from the top nor one that stays
// below the shoot's folder.
func targetPath(p string) error {
	if filepath.IsLocal(p) {
		p = string(filepath.Separator) + p
		if filepath.Separator == '\\' {
			p = "C:" + p
		}
	}
	return folderPath(p)
}

// folderPath refuses a path that is not plainly one from the top.
func folderPath(p string) error {
	why := ""
	switch {
	case len(p) > maxPath:
		why = "it is too long"
	case strings.ContainsRune(p, 0) || !utf8.ValidString(p):
		why = "it is no path"
	case !filepath.IsAbs(p):
		why = "it does not begin at the top"
	case slices.Contains(strings.FieldsFunc(p, func(r rune) bool { return r == '/' || r == filepath.Separator }), ".."):
		why = "it goes up again"
	default:
		return nil
	}
	return &fault.Error{Kind: fault.Usage, Op: "use the path", Subject: cut(p), Err: errors.New(why)}
}
