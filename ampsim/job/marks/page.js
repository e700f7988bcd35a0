// The page of its own: arrows leave it as a file.
const facts = JSON.parse(document.getElementById("facts").textContent);
let wanted = facts.marks;
let saved = true;

markPhoto(document.getElementById("marks"), facts, (marks) => {
  wanted = marks;
  saved = false;
});

document.getElementById("save").addEventListener("click", () => {
  const told = JSON.stringify({ sha256: facts.sha256, before: facts.marks, marks: wanted }, null, 1);
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([told], { type: "application/json" }));
  link.download = facts.file;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  saved = true;
});

addEventListener("beforeunload", (event) => {
  if (!saved) event.preventDefault();
});
