package house

import (
	"go/ast"
	"go/token"
	"strings"
	"testing"
)

// The command line keeps nothing in package variables, so that it can be run
// many times in one process.
func TestCommandLineHasNoPackageVariables(t *testing.T) {
	parsed(t, func(path string, set *token.FileSet, file *ast.File) {
		if !strings.HasPrefix(path, "internal/cli/") {
			return
		}
		for _, decl := range file.Decls {
			if d, ok := decl.(*ast.GenDecl); ok && d.Tok == token.VAR {
				t.Errorf("%s: a package variable", set.Position(d.Pos()))
			}
		}
	})
}

// Only terminal.go writes to the terminal; main hands the streams over.
func TestOneFilePrints(t *testing.T) {
	parsed(t, func(path string, set *token.FileSet, file *ast.File) {
		if path == "internal/cli/terminal.go" || !strings.HasPrefix(path, "internal/") {
			return
		}
		ast.Inspect(file, func(n ast.Node) bool {
			sel, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			if from, ok := sel.X.(*ast.Ident); ok {
				name := from.Name + "." + sel.Sel.Name
				child := strings.HasPrefix(path, "internal/media/ffmpeg/") // speaks to its parent
				switch {
				case name == "fmt.Print", name == "fmt.Println", name == "fmt.Printf",
					(name == "os.Stdout" || name == "os.Stderr") && !child,
					name == "io.WriteString" && strings.HasPrefix(path, "internal/cli/"):
					t.Errorf("%s: %s; all output goes through internal/cli/terminal.go", set.Position(n.Pos()), name)
				}
			}
			return true
		})
	})
}
