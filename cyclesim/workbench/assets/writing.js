// @ts-check
// The file as text to write in; the editor is loaded only when somebody asks for it.

import { html, useEffect, useRef, useSignal } from "./vendor/preact.js";
import { fail, plant, put } from "./state.js";

/** How the editor looks, in the page's own colours. @param {any} editor */
const look = ({ EditorView, HighlightStyle, syntaxHighlighting, tags }) => [
  EditorView.theme({
    "&": { backgroundColor: "var(--sheet)", color: "var(--ink)", fontSize: "0.85rem", height: "70vh" },
    ".cm-panels": { backgroundColor: "var(--paper)", color: "var(--ink)" },
    "&.cm-focused": { outline: "3px solid var(--link)" },
    ".cm-scroller": { fontFamily: "ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, monospace", overflow: "auto" },
    ".cm-gutters": { backgroundColor: "var(--sheet)", color: "var(--faint)", border: "none" },
    ".cm-activeLine": { backgroundColor: "var(--pick)" },
    ".cm-cursor": { borderLeftColor: "var(--ink)" },
    "&.cm-focused .cm-selectionBackground, .cm-selectionBackground": { backgroundColor: "var(--band) !important" },
  }),
  syntaxHighlighting(HighlightStyle.define([
    { tag: tags.propertyName, color: "var(--link)" }, { tag: tags.comment, color: "var(--faint)" },
    { tag: tags.definition(tags.propertyName), color: "var(--link)" },
  ])),
];

/** @param {{line: number, close: () => void}} given where to begin; what ends the writing */
export function Writing({ line, close }) {
  const box = useRef(null), view = useRef(null), begun = useRef({ text: "", version: "" }), ready = useSignal(false), busy = useRef(false);
  const now = () => view.current.state.sliceDoc();
  const save = async () => {
    const text = now();
    if (text === begun.current.text) return close();
    if (busy.current) return;
    busy.current = true;
    const done = await put(text, begun.current.version, "edited as text"); // if not, what was written stays here
    busy.current = false;
    if (!done) return;
    begun.current = { text, version: plant.value.version };
    if (!plant.value.problems.length) close();
  };
  useEffect(() => {
    begun.current = { text: plant.value.text, version: plant.value.version };
    import("./vendor/editor.js").then((editor) => {
      if (!box.current) return;
      const { EditorState, EditorView, keymap } = editor, { text } = begun.current;
      const state = EditorState.create({
        doc: text,
        extensions: [
          EditorState.lineSeparator.of(text.includes("\r\n") ? "\r\n" : "\n"), editor.lineNumbers(), editor.history(),
          editor.drawSelection(), editor.highlightActiveLine(), editor.yaml(), editor.search({ top: true }),
          keymap.of([{ key: "Mod-s", run: () => { save(); return true; } },
            ...editor.defaultKeymap, ...editor.historyKeymap, ...editor.searchKeymap]),
          EditorView.contentAttributes.of({ tabindex: "0", "aria-label": "The file's text; Control and S writes it" }), look(editor),
        ],
      });
      // under a root of its own it styles itself by sheets that no policy of ours has to allow
      const root = box.current.attachShadow({ mode: "open" });
      view.current = new EditorView({ state, parent: root, root });
      const at = state.doc.line(Math.min(Math.max(1, line), state.doc.lines)).from;
      view.current.dispatch({ selection: { anchor: at }, effects: EditorView.scrollIntoView(at, { y: "center" }) });
      view.current.focus();
      ready.value = true;
    }).catch(fail);
    return () => view.current?.destroy();
  }, []);
  return html`<div class="buttons"><button type="button" disabled=${!ready.value} onClick=${save}>write it to the file</button>
      <button type="button" onClick=${close}>leave the file as it is</button></div>
    <div class="editor" ref=${box}></div>`;
}
