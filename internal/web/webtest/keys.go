package webtest

import (
	"context"
	"encoding/json"
	"strings"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// chordKeys are the keys that have a name instead of a character.
var chordKeys = map[string]string{"Enter": kb.Enter, "Escape": kb.Escape, "Tab": kb.Tab, "ArrowRight": kb.ArrowRight, "ArrowLeft": kb.ArrowLeft,
	"ArrowUp": kb.ArrowUp, "ArrowDown": kb.ArrowDown, "Home": kb.Home, "End": kb.End, "PageUp": kb.PageUp, "PageDown": kb.PageDown,
	"Backspace": kb.Backspace, "Space": " "}

// Chord presses chords, one after the other, by the names of the page's table
// of keys: "j", "Shift+ArrowLeft", "Mod+z".
func (p *Page) Chord(names ...string) {
	p.T.Helper()
	for _, name := range names {
		key, held := name, chromedp.ModifierNone
		for _, m := range []struct {
			name string
			is   chromedp.Modifier
		}{{"Mod+", chromedp.ModifierCtrl}, {"Alt+", chromedp.ModifierAlt}, {"Shift+", chromedp.ModifierShift}} {
			if rest, ok := strings.CutPrefix(key, m.name); ok && rest != "" {
				key, held = rest, held|m.is
			}
		}
		if k, ok := chordKeys[key]; ok {
			key = k
		} else if held&chromedp.ModifierShift != 0 {
			key = strings.ToUpper(key)
		}
		p.Do("press "+name, chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
			return strike(ctx, t, []rune(key)[0], held)
		}))
	}
}

// strike presses a key and lets it go, as a hand does: what it types goes with
// the press, so that a page that takes the press for itself gets no letter of it.
func strike(ctx context.Context, t *chromedp.Target, key rune, held chromedp.Modifier) error {
	var down *input.DispatchKeyEventParams
	for _, e := range kb.Encode(key) {
		e.Modifiers |= int64(held)
		switch e.Type {
		case input.DispatchKeyEventTypeChar:
			if held&(chromedp.ModifierCtrl|chromedp.ModifierAlt) == 0 {
				down.Type, down.Text, down.UnmodifiedText = input.DispatchKeyEventTypeKeyDown, e.Text, e.UnmodifiedText
			}
			continue
		case input.DispatchKeyEventTypeKeyUp:
			if _, err := cdp.Call(ctx, t, input.DispatchKeyEvent, *down); err != nil {
				return err
			}
			if _, err := cdp.Call(ctx, t, input.DispatchKeyEvent, *e); err != nil {
				return err
			}
		default:
			down = e
		}
	}
	return nil
}

// Type writes a text, as keys would.
func (p *Page) Type(text string) {
	p.T.Helper()
	p.Do("type "+text, chromedp.KeyEvent(text))
}

// Size makes the window of another size, in CSS pixels; zoom is how many pixels
// of the screen one of them is wide and high.
func (p *Page) Size(width, height int64, zoom float64) {
	p.T.Helper()
	p.Do("make the window", chromedp.EmulateViewport(width, height, chromedp.EmulateScale(zoom)))
}

// Media sets what the browser says of the person's wishes, as
// "prefers-reduced-motion", "reduce"; none takes all back.
func (p *Page) Media(pairs ...string) {
	p.T.Helper()
	wishes := map[string]string{"forced-colors": "", "prefers-color-scheme": "", "prefers-reduced-motion": ""} // "": as the system has it
	for i := 0; i+1 < len(pairs); i += 2 {
		wishes[pairs[i]] = pairs[i+1]
	}
	params := emulation.SetEmulatedMediaParams{}
	for name, value := range wishes {
		params.Features = append(params.Features, &emulation.MediaFeature{Name: name, Value: value})
	}
	p.Do("set the media features", chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, params)
		return err
	}))
}

// Heard is all that a screen reader is told, as Chromium's accessibility tree
// has it: a line for each node that is not left out, "role: name (value) description".
func (p *Page) Heard() []string {
	p.T.Helper()
	var lines []string
	p.Do("read the accessibility tree", chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		got, err := cdp.Call(ctx, t, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
		if err != nil {
			return err
		}
		for _, n := range got.Nodes {
			if n.Ignored || n.Role == nil {
				continue
			}
			line := said(n.Role) + ": " + said(n.Name)
			if v := said(n.Value); v != "" {
				line += " (" + v + ")"
			}
			lines = append(lines, strings.TrimSpace(line+" "+said(n.Description)))
		}
		return nil
	}))
	return lines
}

func said(v *accessibility.Value) string {
	if v == nil {
		return ""
	}
	var text string
	if json.Unmarshal(v.Value, &text) == nil {
		return text
	}
	return string(v.Value)
}
