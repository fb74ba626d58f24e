// Heads of the table of lakes become buttons that sort it; the table stands as it is where scripts are off.
document.querySelectorAll("table.sort").forEach(function(table){
var heads=table.tHead.rows[0].cells,body=table.tBodies[0];
Array.prototype.forEach.call(heads,function(head,k){
var button=document.createElement("button");button.type="button";button.textContent=head.textContent;
head.textContent="";head.appendChild(button);
button.addEventListener("click",function(){
var down=head.getAttribute("aria-sort")==="ascending";
Array.prototype.forEach.call(heads,function(one){one.removeAttribute("aria-sort")});
head.setAttribute("aria-sort",down?"descending":"ascending");
Array.prototype.slice.call(body.rows).sort(function(a,b){
var x=a.cells[k].dataset.v,y=b.cells[k].dataset.v,n=x===""?(y===""?0:1):y===""?-1:isNaN(x)||isNaN(y)?
x.localeCompare(y):x-y;
return x===""||y===""?n:down?-n:n}).forEach(function(row){body.appendChild(row)})})})});
