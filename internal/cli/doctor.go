package cli

import (
	"github.com/spf13/cobra"

	"earshot/internal/app"
	"earshot/internal/fault"
)

// doctor is `earshot doctor`: is everything in order on this machine?
func (f *face) doctor() *cobra.Command {
	c := &cobra.Command{
		Use:   "doctor",
		Short: "look whether everything is in order on this machine",
		Long: `Look at the media engine, the folder earshot keeps for itself, and the machine,
and say what to do where something is amiss.`,
		Example: `earshot doctor
earshot doctor --engine native`,
		Annotations: map[string]string{exitKey: `0    all is well
1    something is amiss
2    the command was not understood
130  stopped with Ctrl-C`},
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 0 {
				return badUsage(c, "doctor looks at this machine, not at "+fault.Quote(args[0])+"; to look at a file: earshot prove")
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error {
			health, err := f.examine(c)
			if err != nil {
				return err
			}
			health.Version = f.env.Version
			for _, check := range health.Checks {
				if !check.OK {
					f.status = exitFailed
				}
			}
			if f.json {
				health.Checks = filled(health.Checks)
				return f.term.document(health)
			}
			f.term.print(healthText(f.term.out, health)...)
			return nil
		},
	}
	f.jsonFlag(c)
	return c
}

// examine asks for the health. An engine that does not open is a finding, not
// the end of the examination.
func (f *face) examine(c *cobra.Command) (*app.Health, error) {
	cases, err := f.open(c.Context())
	if err == nil {
		var health *app.Health
		if health, err = cases.Doctor(c.Context()); err == nil {
			return health, nil
		}
	}
	if fault.KindOf(err) != fault.Engine {
		return nil, err
	}
	return &app.Health{Version: f.env.Version, Checks: []app.HealthCheck{
		{Name: "media engine", Said: err.Error(), Hint: fault.HintOf(err)}}}, nil
}

// healthText lays the findings out.
func healthText(s sink, h *app.Health) []string {
	lines := []string{"earshot " + h.Version, ""}
	if h.Engine.Name != "" {
		lines = append(lines, "  engine   "+engineWords(h.Engine.Name, h.Engine.Version, h.Engine.Licence))
		if h.Engine.Path != "" {
			lines = append(lines, "           "+fault.Escape(h.Engine.Path))
		}
		for _, note := range h.Engine.Notes {
			lines = append(lines, reasons(s, oneLine(note))...)
		}
	}
	for _, p := range h.Passed {
		lines = append(lines, "  passed   "+engineWords(p.Name, p.Version, p.Licence))
		lines = append(lines, reasons(s, because(p.Notes))...)
	}
	if h.CacheDir != "" {
		lines = append(lines, "  keeps    "+size(h.CacheUse)+" of at most "+size(h.CacheMax)+" in "+fault.Escape(h.CacheDir))
	}
	lines = append(lines, "")
	width := 0
	for _, check := range h.Checks {
		width = max(width, cells(check.Name))
	}
	for _, check := range h.Checks {
		word, mark := "well ", good
		if !check.OK {
			word, mark = "amiss", bad
		}
		lines = append(lines, "  "+s.paint(mark, word)+"  "+pad(check.Name, width, false)+"  "+oneLine(check.Said))
		if check.Hint != "" {
			lines = append(lines, reasons(s, oneLine(check.Hint))...)
		}
	}
	return lines
}

func engineWords(name, version, licence string) string {
	text := oneLine(name) + ", " + oneLine(version)
	if licence != "" {
		text += ", " + oneLine(licence)
	}
	return text
}
