/* What the desk takes of CodeMirror: all that its own scripts import. */
export { Annotation, EditorSelection, EditorState, Prec, RangeSetBuilder, StateEffect, StateField } from "@codemirror/state";
export { Decoration, EditorView, ViewPlugin, drawSelection, highlightActiveLine, highlightSpecialChars, keymap, lineNumbers } from "@codemirror/view";
export { defaultKeymap, history, historyKeymap, isolateHistory } from "@codemirror/commands";
export { acceptCompletion, autocompletion, completionKeymap } from "@codemirror/autocomplete";
export { lintKeymap, nextDiagnostic, setDiagnostics } from "@codemirror/lint";
export { highlightSelectionMatches, search, searchKeymap } from "@codemirror/search";
