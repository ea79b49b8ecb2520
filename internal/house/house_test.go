package house

import (
	"bytes"
	"go/ast"
	"go/build"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// root is the repository's folder, seen from this package.
const root = "../.."

// arrows says what each package may import: packages of ours, by folder, and
// modules of others. The standard library is not listed; see pure.
func arrows() map[string][]string {
	const cobra, pflag = "github.com/spf13/cobra", "github.com/spf13/pflag"
	return map[string][]string{
		"cmd/earshot":                  {"internal/cli", "internal/web", "internal/desk", "internal/app", "internal/store", "internal/media/ffmpeg"},
		"cmd/yardstick":                {"internal/dsp", "internal/app", "internal/store", "internal/scene", "internal/shoot", "internal/align", "internal/media/ffmpeg"},
		"cmd/accuracy":                 {"internal/app", "internal/store", "internal/scene", "internal/shoot", "internal/align", "internal/clocks", "internal/dsp", "internal/frame", "internal/media", "internal/media/mediatest"},
		"cmd/bench":                    {"internal/dsp", "internal/frame", "internal/app", "internal/store", "internal/scene", "internal/shoot", "internal/media", "internal/media/ffmpeg"},
		"cmd/deskbench":                {"internal/scene", "internal/web/webtest", "github.com/chromedp/chromedp", "github.com/chromedp/cdproto"},
		"cmd/torment":                  {"internal/scene", "internal/media", "internal/media/ffmpeg", "internal/frame"},
		"internal/desk":                {"internal/app", "internal/media", "internal/store", "internal/shoot", "internal/fault"},
		"internal/web":                 {"internal/web/page", "internal/desk", "internal/shoot", "internal/fault"},
		"internal/web/page":            {},
		"internal/web/webtest":         {"github.com/chromedp/chromedp", "github.com/chromedp/cdproto"},
		"internal/cli":                 {"internal/app", "internal/shoot", "internal/fault", cobra, pflag, "golang.org/x/sys"},
		"internal/app":                 {"internal/shoot", "internal/match", "internal/align", "internal/clocks", "internal/dsp", "internal/frame", "internal/scene", "internal/scene/demo", "internal/media", "internal/store", "internal/fault"},
		"internal/store":               {"internal/shoot", "internal/dsp", "internal/fault", "modernc.org/sqlite", "golang.org/x/sys"},
		"internal/shoot":               {"internal/align", "internal/frame"},
		"internal/match":               {"internal/dsp"},
		"internal/align":               {"internal/dsp", "gonum.org/v1/gonum/mat"},
		"internal/clocks":              {"internal/align", "gonum.org/v1/gonum/mat"},
		"internal/dsp":                 {"gonum.org/v1/gonum/dsp/fourier", "golang.org/x/sys/cpu"},
		"internal/frame":               {},
		"internal/fault":               {},
		"internal/media":               {"internal/frame"},
		"internal/media/ffmpeg":        {"internal/media/ffmpeg/module", "internal/media", "internal/fault", "internal/frame", "github.com/tetratelabs/wazero", "codeberg.org/gruf/go-ffmpreg", "golang.org/x/sys"},
		"internal/scene":               {"internal/media", "internal/frame", "internal/fault", "gonum.org/v1/gonum/dsp/fourier"},
		"internal/scene/demo":          {"internal/scene", "internal/media", "internal/frame"},
		"internal/media/ffmpeg/module": {},
		"internal/media/mediatest":     {"internal/media", "internal/fault", "internal/frame", "internal/scene"},
		"internal/golden":              {},
		"internal/house":               {},
	}
}

// pure packages open no file, take no context and know no network.
func pure() []string {
	return []string{"internal/dsp", "internal/align", "internal/clocks", "internal/match", "internal/frame", "internal/shoot"}
}

// longer lists the functions that may pass maxFunc, with the reason.
func longer() map[string]string {
	return map[string]string{
		"internal/media/mediatest.table": "a table with one line for each kind of recording",
	}
}

const (
	maxFunc = 60  // lines, from func to its closing brace
	maxFile = 500 // lines
)

// packages returns the folders that hold Go files, relative to root.
func packages(t *testing.T) []string {
	t.Helper()
	var dirs []string
	walk(t, func(path string) {
		if dir := filepath.ToSlash(filepath.Dir(path)); strings.HasSuffix(path, ".go") && !slices.Contains(dirs, dir) {
			dirs = append(dirs, dir)
		}
	})
	if len(dirs) < 5 {
		t.Fatalf("only %d packages found; is %s still the root?", len(dirs), root)
	}
	return dirs
}

// walk calls fn for every file of the project, relative to root.
func walk(t *testing.T, fn func(path string)) {
	t.Helper()
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if rel, _ := filepath.Rel(root, path); d.IsDir() {
			switch {
			case rel == ".":
			case strings.HasPrefix(d.Name(), ".") && d.Name() != ".ci", d.Name() == "node_modules", rel == "dist", rel == "married", rel == "earshot-demo":
				return fs.SkipDir
			}
		} else if d.Type().IsRegular() {
			fn(rel)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestArrows(t *testing.T) {
	allowed := arrows()
	ctxt := build.Default
	ctxt.UseAllFiles = true // the files of every system
	for _, dir := range packages(t) {
		may, known := allowed[dir]
		if !known {
			t.Errorf("%s is not in the list of arrows: say what it may import", dir)
			continue
		}
		pkg, err := ctxt.ImportDir(filepath.Join(root, dir), 0)
		if _, ok := err.(*build.NoGoError); ok {
			continue // only tests
		}
		if err != nil {
			t.Errorf("%s: %v", dir, err)
			continue
		}
		for _, imp := range pkg.Imports {
			if !allowedImport(imp, may) {
				t.Errorf("%s imports %s; it may import only %s", dir, imp, strings.Join(may, ", "))
			}
			if slices.Contains(pure(), dir) && (imp == "os" || imp == "context" || imp == "net" || strings.HasPrefix(imp, "os/") || strings.HasPrefix(imp, "net/")) {
				t.Errorf("%s imports %s, and is to be pure", dir, imp)
			}
		}
	}
}

// allowedImport reports whether a package that may import the listed ones
// imports imp rightly.
func allowedImport(imp string, may []string) bool {
	if ours, ok := strings.CutPrefix(imp, "earshot/"); ok {
		return slices.Contains(may, ours)
	}
	if !strings.Contains(strings.SplitN(imp, "/", 2)[0], ".") {
		return true // standard library
	}
	return slices.ContainsFunc(may, func(m string) bool { return imp == m || strings.HasPrefix(imp, m+"/") })
}

// parsed calls fn for every Go file that is not a test.
func parsed(t *testing.T, fn func(path string, set *token.FileSet, file *ast.File)) {
	t.Helper()
	walk(t, func(path string) {
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, filepath.Join(root, path), nil, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			t.Error(err)
			return
		}
		fn(filepath.ToSlash(path), set, file)
	})
}

func TestEveryPackageIsExplained(t *testing.T) {
	explained := map[string]bool{}
	parsed(t, func(path string, _ *token.FileSet, file *ast.File) {
		dir := filepath.ToSlash(filepath.Dir(path))
		text := file.Doc.Text()
		begin := "Package " + file.Name.Name + " "
		if file.Name.Name == "main" {
			begin = ""
		}
		explained[dir] = explained[dir] || text != "" && strings.HasPrefix(text, begin)
	})
	for dir, ok := range explained {
		if !ok {
			t.Errorf("%s has no package comment", dir)
		}
	}
}

func TestEveryExportedNameIsExplained(t *testing.T) {
	parsed(t, func(path string, set *token.FileSet, file *ast.File) {
		for _, decl := range file.Decls {
			for _, name := range unexplained(decl) {
				t.Errorf("%s: %s has no comment", set.Position(decl.Pos()), name)
			}
		}
	})
}

// unexplained returns the exported names that decl declares without a comment.
// A comment above a group speaks for all of it.
func unexplained(decl ast.Decl) (names []string) {
	switch d := decl.(type) {
	case *ast.FuncDecl:
		if d.Name.IsExported() && d.Doc == nil && exportedReceiver(d) {
			names = append(names, d.Name.Name)
		}
	case *ast.GenDecl:
		for _, spec := range d.Specs {
			switch s := spec.(type) {
			case *ast.TypeSpec:
				if s.Name.IsExported() && d.Doc == nil && s.Doc == nil {
					names = append(names, s.Name.Name)
				}
			case *ast.ValueSpec:
				for _, n := range s.Names {
					if n.IsExported() && d.Doc == nil && s.Doc == nil && s.Comment == nil {
						names = append(names, n.Name)
					}
				}
			}
		}
	}
	return names
}

// exportedReceiver reports whether d is a function, or a method that can be
// seen from outside. Methods every Go reader knows need no words.
func exportedReceiver(d *ast.FuncDecl) bool {
	if d.Recv == nil {
		return true
	}
	switch d.Name.Name {
	case "Error", "Unwrap", "String", "Read", "Write", "Close", "Len", "Less", "Swap":
		return false
	}
	expr := d.Recv.List[0].Type
	if star, ok := expr.(*ast.StarExpr); ok {
		expr = star.X
	}
	id, ok := expr.(*ast.Ident)
	return !ok || id.IsExported()
}

func TestFunctionsFitAScreen(t *testing.T) {
	seen := map[string]bool{}
	parsed(t, func(path string, set *token.FileSet, file *ast.File) {
		for _, decl := range file.Decls {
			d, ok := decl.(*ast.FuncDecl)
			if !ok {
				continue
			}
			n := set.Position(d.End()).Line - set.Position(d.Pos()).Line + 1
			key := filepath.ToSlash(filepath.Dir(path)) + "." + d.Name.Name
			if n <= maxFunc {
				continue
			}
			seen[key] = true
			if longer()[key] == "" {
				t.Errorf("%s: %s has %d lines, more than %d", set.Position(d.Pos()), d.Name.Name, n, maxFunc)
			}
		}
	})
	for key := range longer() {
		if !seen[key] {
			t.Errorf("%s is on the list of long functions and is none", key)
		}
	}
}

func TestFilesAreShort(t *testing.T) {
	walk(t, func(path string) {
		if !strings.HasSuffix(path, ".go") {
			return
		}
		text, err := os.ReadFile(filepath.Join(root, path))
		if err != nil {
			t.Error(err)
		}
		if n := bytes.Count(text, []byte("\n")); n >= maxFile {
			t.Errorf("%s has %d lines, not under %d", path, n, maxFile)
		}
	})
}

// Words that mark unfinished work, and folders of one machine only. They are
// written here in pieces, for this file is read too.
func TestForbiddenWords(t *testing.T) {
	words := regexp.MustCompile(`\b(TO` + `DO|FIX` + `ME|XX` + `X)\b|"being ` + `written"|not ` + `implemented|\bfor ` + `now\b` +
		`|(^|[\s"'(=])/(wo` + `rk|ro` + `ot|ho` + `me|tm` + `p)/`)
	walk(t, func(path string) {
		switch filepath.Ext(path) {
		case ".go", ".md", ".json", ".txtar", ".txt", ".mod", "":
		default:
			return
		}
		if path == "LICENSE" {
			return // not our words
		}
		text, err := os.ReadFile(filepath.Join(root, path))
		if err != nil {
			t.Error(err)
		}
		if bytes.IndexByte(text[:min(len(text), 8000)], 0) >= 0 {
			return // not text
		}
		for i, line := range strings.Split(string(text), "\n") {
			if w := words.FindString(line); w != "" {
				t.Errorf("%s:%d: %q", path, i+1, w)
			}
		}
	})
}
