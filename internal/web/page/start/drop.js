// Files and folders that are dropped on the page, whatever it shows.

/**
 * Takes what is dropped from now on.
 * @param {import('../types').Desk} desk
 */
export function takeDrops(desk) {
  const over = (/** @type {boolean} */ on) => document.body.classList.toggle('over-banks', on)
  addEventListener('dragover', (e) => {
    if (!e.dataTransfer?.types.includes('Files')) return
    e.preventDefault()
    over(true)
  })
  addEventListener('dragleave', (e) => e.relatedTarget || over(false))
  addEventListener('drop', (e) => {
    over(false)
    if (!e.dataTransfer?.types.includes('Files')) return
    e.preventDefault()
    // What was dropped can only be asked for before this listener ends.
    send(desk, [...e.dataTransfer.items].map((i) => i.webkitGetAsEntry() ?? i.getAsFile()).filter((x) => x !== null))
  })
}

/** Sends files one after another. @param {import('../types').Desk} desk @param {(FileSystemEntry | File)[]} entries */
async function send(desk, entries) {
  try {
    const files = (await Promise.all(entries.map(filesOf))).flat()
    if (!files.length) return
    desk.go('#/start')
    for (const [i, file] of files.entries()) {
      desk.tell(`Copying ${file.name}`, `${i + 1} of ${files.length}`)
      await desk.api.dropped(file)
    }
    desk.tell(files.length === 1 ? `Copied ${files[0].name}` : `Copied ${files.length} files`)
  } catch (err) {
    desk.fail(err)
  }
}

/** All files of a dropped thing, hidden ones left out. @param {FileSystemEntry | File} entry @returns {Promise<File[]>} */
async function filesOf(entry) {
  if (entry.name.startsWith('.')) return []
  if (entry instanceof File) return [entry]
  if (entry.isFile) return [await new Promise((ok, no) => /** @type {FileSystemFileEntry} */ (entry).file(ok, no))]
  const reader = /** @type {FileSystemDirectoryEntry} */ (entry).createReader()
  const all = []
  for (;;) { // a reader gives a hundred or so at a time
    /** @type {FileSystemEntry[]} */
    const some = await new Promise((ok, no) => reader.readEntries(ok, no))
    if (!some.length) break
    all.push(...some)
  }
  return (await Promise.all(all.map(filesOf))).flat()
}
