package web

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"earshot/internal/fault"
)

// OpenBrowser shows a Server's address in the person's browser.
func OpenBrowser(url string) error { return thisSystem().browser(url) }

// OpenFolder shows a folder in the system's own file browser.
func OpenFolder(path string) error { return thisSystem().folder(path) }

// An opener starts what a system has for opening things. No shell is between:
// a name cannot become a command.
type opener struct {
	system string // as runtime.GOOS
	getenv func(string) string
	run    func(name string, args ...string) error
}

func thisSystem() opener { return opener{runtime.GOOS, os.Getenv, start} }

func (o opener) browser(url string) error {
	tried := func(err error) error {
		return &fault.Error{Kind: fault.Engine, Op: "open a browser", Err: err, Hint: "open this address yourself: " + url}
	}
	if !strings.HasPrefix(url, "http://127.0.0.1:") {
		return &fault.Error{Kind: fault.Usage, Op: "open a browser at", Subject: url, Err: errors.New("it is not an address of this computer")}
	}
	if err := o.screen(); err != nil {
		return tried(err)
	}
	name, args := "xdg-open", []string{url}
	switch o.system {
	case "darwin":
		name = "open"
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", url}
	}
	if err := o.run(name, args...); err != nil {
		return tried(err)
	}
	return nil
}

func (o opener) folder(path string) error {
	tried := func(kind fault.Kind, err error) error {
		return &fault.Error{Kind: kind, Op: "open folder", Subject: path, Err: fault.Cause(err), Hint: "open it in your file browser"}
	}
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return tried(fault.Unreadable, err)
	case !info.IsDir():
		return tried(fault.Usage, errors.New("it is no folder"))
	case !filepath.IsAbs(path):
		return tried(fault.Usage, errors.New("it does not begin at the top"))
	}
	if err := o.screen(); err != nil {
		return tried(fault.Engine, err)
	}
	name := map[string]string{"darwin": "open", "windows": "explorer"}[o.system]
	if name == "" {
		name = "xdg-open"
	}
	if err := o.run(name, filepath.Clean(path)); err != nil {
		return tried(fault.Engine, err)
	}
	return nil
}

// screen says whether there is one to open something on. Without one xdg-open
// would look for a browser that runs in a terminal.
func (o opener) screen() error {
	if o.system == "darwin" || o.system == "windows" || o.getenv("DISPLAY") != "" || o.getenv("WAYLAND_DISPLAY") != "" {
		return nil
	}
	return errors.New("there is no screen here")
}

// startTime is how long a program that opens something may take to fail.
const startTime = 2 * time.Second

// start runs a program apart from this one: a browser it starts stays when
// this one ends. It may run for as long as the browser does, so its end is
// awaited only for a moment.
func start(name string, args ...string) error {
	c := exec.Command(name, args...)
	apart(c)
	if err := c.Start(); err != nil {
		return err
	}
	ended := make(chan error, 1)
	go func() { ended <- c.Wait() }()
	select {
	case err := <-ended:
		if filepath.Base(name) == "explorer" {
			return nil // it ends with 1 whatever it did
		}
		return err
	case <-time.After(startTime):
		return nil
	}
}
